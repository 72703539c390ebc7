"""Make the program that needs no Python, for the system this runs on, and try it.

It is built in an environment of its own, with nothing but Evenacre, what that needs and
PyInstaller, into ``dist/evenacre-SYSTEM.tar.gz`` (on Windows ``.zip``): a folder with the program
in it, which opens the desk when it is double-clicked. Then it is tried where no Python is in
reach: it writes the sample farm, audits it in its workers, serves the desk, and audits a job there.
"""

from __future__ import annotations

import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
BUILT = ROOT / "build" / "program"
SUFFIX = ".exe" if sys.platform == "win32" else ""


def main() -> None:
    folder = _build()
    program = folder / f"evenacre{SUFFIX}"
    with tempfile.TemporaryDirectory() as scratch:
        # Nothing of this environment, so no Python; Windows itself wants to know where it lies.
        told = {name: os.environ[name] for name in ("SYSTEMROOT", "TEMP") if name in os.environ}
        environment = {
            **told,
            "HOME": scratch,
            "USERPROFILE": scratch,
            "PATH": "",
            "LANG": "C.UTF-8",
        }
        started = time.perf_counter()
        _run(program, "--version", env=environment)
        start_s = time.perf_counter() - started
        farm = Path(scratch) / "three-larks"
        _run(program, "demo", str(farm), "--quiet", env=environment)
        alone = ("--jobs", "1", "--fresh", "--quiet", "--out", str(farm / "again"))
        _run(program, "audit", str(farm / "season.toml"), *alone, env=environment)
        _same(farm / "evenacre-out" / "summary.json", farm / "again" / "summary.json")
        desk_s = _try_desk(program, farm, environment)
    kind = "zip" if sys.platform == "win32" else "gztar"
    name = ROOT / "dist" / f"evenacre-{platform.system().lower()}-{platform.machine().lower()}"
    archive = Path(shutil.make_archive(str(name), kind, folder.parent, folder.name))
    unpacked = sum(path.lstat().st_size for path in folder.rglob("*") if path.is_file())
    print(
        f"{archive.relative_to(ROOT)}: {archive.stat().st_size / 1e6:.0f} MB, unpacked "
        f"{unpacked / 1e6:.0f} MB; starts in {start_s:.1f} s, its desk in {desk_s:.1f} s"
    )


def _build() -> Path:
    environment = BUILT / "environment"
    _run("uv", "venv", "--quiet", "--clear", "--python", sys.executable, str(environment))
    wanted = f"{ROOT}[program]"
    _run("uv", "pip", "install", "--quiet", "--python", str(environment), wanted)
    scripts = environment / ("Scripts" if sys.platform == "win32" else "bin")
    places = ("--workpath", str(BUILT / "work"), "--distpath", str(BUILT))
    builder = scripts / f"pyinstaller{SUFFIX}"
    spec = ROOT / "tools" / "program.spec"
    _run(builder, "--noconfirm", "--log-level", "ERROR", *places, str(spec))
    return BUILT / "evenacre"


def _run(program: str | Path, *words: str, env: dict[str, str] | None = None) -> None:
    subprocess.run([str(program), *words], check=True, env=env)


def _same(one: Path, other: Path) -> None:
    """Two accounts of the same jobs, the first of them made by workers."""
    first, second = (json.loads(path.read_bytes())["operations"] for path in (one, other))
    assert first == second, "workers found other figures"


def _try_desk(program: Path, farm: Path, environment: dict[str, str]) -> float:
    """Audit a job from the desk, and give the seconds until its first page."""
    started = time.perf_counter()
    words = [str(program), "desk", str(farm), "--no-browser"]
    with subprocess.Popen(words, env=environment, stdout=subprocess.PIPE, text=True) as desk:
        try:
            assert desk.stdout is not None
            told = re.search(r"(http://\S+?)/enter\?key=(\S+)", desk.stdout.readline())
            assert told is not None
            home, key = told.groups()
            ask = _asker(home, key)
            ask(f"/enter?key={key}").read()
            first_page_s = time.perf_counter() - started
            _wait_for(ask, "Looking the season over")
            seen = json.loads(ask("/overview").read())["season"]
            ask("/audit", {"seen": seen, "job0": "on"})
            _wait_for(ask, "Audit")
            assert list((farm / "results").glob("*/report.html"))
            ask("/close", {})
            assert desk.wait(60) == 0
        finally:
            desk.kill()
    return first_page_s


def _asker(home: str, key: str) -> Callable[..., Any]:
    headers = {"Cookie": f"evenacre-desk-{home.rpartition(':')[2]}={key}", "Origin": home}

    def ask(path: str, form: dict[str, str] | None = None) -> Any:
        body = None if form is None else urllib.parse.urlencode(form).encode()
        request = urllib.request.Request(home + path, body, headers)
        return urllib.request.urlopen(request, timeout=600)

    return ask


def _wait_for(ask: Callable[..., Any], title: str) -> None:
    with ask("/events") as events:
        for line in events:
            if line.startswith(b"data: "):
                job = json.loads(line[6:])
                assert job["state"] in ("none", "running", "done"), job
                if job["title"] == title and job["state"] == "done":
                    return
    raise AssertionError(f"{title}: never done")


if __name__ == "__main__":
    main()
