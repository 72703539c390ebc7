"""Build the source archive and the wheel into ``dist/``, and try them as a user would.

They are built twice, in different folders, at different times and under different umasks: once
the wheel from the unpacked source archive, once from the tree. Bytes must be equal. The wheel is
then installed into ``build/runtime``, and the demo runs from an empty folder; the tests that the
source archive carries are collected and a few of them run.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path
from zipfile import ZipFile

ROOT = Path(__file__).parents[1]
RUNTIME = ROOT / "build" / "runtime"
# Dates in the archives are the build backend's own; the paths are ours to try.
_OUTSIDE = {"SOURCE_DATE_EPOCH", "PYTHONPATH", "VIRTUAL_ENV"}
ENVIRONMENT = {name: value for name, value in os.environ.items() if name not in _OUTSIDE}


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        first = _build(Path(scratch) / "one", umask=0o022, mtime=1_500_000_000, flags=[])
        second = _build(
            Path(scratch) / "another place" / "two",
            umask=0o077,
            mtime=1_700_000_000,
            flags=["--sdist", "--wheel"],
        )
        assert sorted(first) == sorted(second), (sorted(first), sorted(second))
        for name in first:
            assert first[name].read_bytes() == second[name].read_bytes(), f"{name} differs"
        shutil.rmtree(ROOT / "dist", ignore_errors=True)
        (ROOT / "dist").mkdir()
        made = {name: Path(shutil.copy(path, ROOT / "dist")) for name, path in first.items()}
        (wheel,) = [path for name, path in made.items() if name.endswith(".whl")]
        (archive,) = [path for name, path in made.items() if name.endswith(".tar.gz")]
        _try_wheel(wheel, Path(scratch) / "empty")
        _try_archive(archive, Path(scratch) / "unpacked")
    for path in made.values():
        print(f"{path.relative_to(ROOT)}: {path.stat().st_size} bytes")


def _build(where: Path, umask: int, mtime: int, flags: list[str]) -> dict[str, Path]:
    """Build from a copy of the tracked files."""
    before = os.umask(umask)
    try:
        listing = ["git", "-C", str(ROOT), "ls-files", "-z"]
        tracked = subprocess.run(listing, check=True, capture_output=True, text=True).stdout
        for name in tracked.split("\0")[:-1]:
            copy = where / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, copy)
            os.utime(copy, (mtime, mtime))
        _run(sys.executable, "-m", "build", "--installer=uv", *flags, str(where))
    finally:
        os.umask(before)
    return {path.name: path for path in (where / "dist").iterdir()}


def _try_wheel(wheel: Path, empty: Path) -> None:
    tops = {name.partition("/")[0] for name in ZipFile(wheel).namelist()}
    packages = {name for name in tops if not name.endswith(".dist-info")}
    assert packages == {"evenacre"}, packages
    _run("uv", "venv", "--quiet", "--clear", "--python", sys.executable, str(RUNTIME))
    _run("uv", "pip", "install", "--quiet", "--python", str(RUNTIME), str(wheel))
    empty.mkdir()
    _run(str(RUNTIME / "bin" / "evenacre"), "demo", "--quiet", cwd=empty)
    assert [path.name for path in empty.iterdir()] == ["three-larks"]
    assert (empty / "three-larks" / "evenacre-out" / "report.html").is_file()


def _try_archive(archive: Path, unpacked: Path) -> None:
    with tarfile.open(archive) as members:
        members.extractall(unpacked, filter="data")
    (inside,) = unpacked.iterdir()
    testing = unpacked / "env"
    _run("uv", "venv", "--quiet", "--python", sys.executable, str(testing))
    _run("uv", "pip", "install", "--quiet", "--python", str(testing), f"{inside}[test]")
    pytest = [str(testing / "bin" / "python"), "-m", "pytest", "-p", "no:cacheprovider"]
    _run(*pytest, "--collect-only", "-qq", cwd=inside, stdout=subprocess.DEVNULL)
    _run(*pytest, "tests/test_leaflet.py", "tests/test_units.py", cwd=inside)


def _run(*command: str, **options: object) -> None:
    subprocess.run(command, check=True, env=ENVIRONMENT, **options)  # type: ignore[call-overload]


if __name__ == "__main__":
    main()
