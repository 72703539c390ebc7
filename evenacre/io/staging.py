"""A result folder that appears whole or not at all."""

from __future__ import annotations

import errno
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from evenacre.errors import InputError
from evenacre.io.json_out import json_text

SUMMARY = "summary.json"
"""The account of an audit; a folder's account lists the files that belong to the result."""
PLAN = "plan.json"
"""The account of a plan of interseeding, which an audit reads back after the season."""
PASSES = "passes.json"
"""The account of planned passes."""
# What desktops and map viewers leave beside the files they open.
_LITTER = (".DS_Store", "Thumbs.db", "desktop.ini", "*.aux.xml", "*.gpkg-wal", "*.gpkg-shm")
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_FORBIDDEN = {errno.EACCES, errno.EPERM, errno.EROFS}
_SCARCE_BYTES = 1 << 20
_DEMO_REMEDY = "Name a new folder: evenacre demo FOLDER."


@contextmanager
def staged_folder(out: Path, account: str = SUMMARY) -> Iterator[Path]:
    """Give an empty folder to write into; it becomes ``out`` when the block ends well.

    Parameters
    ----------
    out : Path
        Where the result belongs. An earlier result there is replaced.
    account : str
        Name of the file that :func:`write_account` writes into such a folder.

    Yields
    ------
    Path
        A hidden folder beside ``out``. It is removed when the block fails or is
        interrupted, and whatever stood at ``out`` is left as it was.

    Raises
    ------
    InputError
        When ``out`` holds anything Evenacre did not write, or cannot be written.
    """
    out = Path(os.path.abspath(out))
    if out.is_symlink():
        out = out.resolve()
    check_replaceable(out, account)
    made: list[Path] = []
    stage: Path | None = None
    try:
        with disk_troubles_told(out):
            made = _make_parents(out.parent)
            stage = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
            stage.chmod(0o777 & ~_umask())
            yield stage
            _swap(stage, out, account)
    finally:
        if stage is not None and stage.exists():
            shutil.rmtree(stage, ignore_errors=True)
        if not out.exists():
            for folder in reversed(made):
                _remove_if_empty(folder)


@contextmanager
def disk_troubles_told(out: Path, option: str = "--out") -> Iterator[None]:
    """Turn what the disk refuses while writing to ``out`` into a complaint about it.

    Parameters
    ----------
    out : Path
    option : str
        What chooses another folder.

    Raises
    ------
    InputError
        When the disk is full, read-only or broken; other errors pass as they are.
    """
    out = Path(os.path.abspath(out))
    try:
        yield
    except OSError as error:
        if not _about(error, out):
            raise
        raise _complaint(error, out, option) from error


def write_account(folder: Path, name: str, account: Mapping[str, Any]) -> dict[str, Any]:
    """Write the account of a result last, with the list of files that belong to it.

    Parameters
    ----------
    folder : Path
        From :func:`staged_folder`, all other files in it.
    name : str
        ``summary.json`` holds the schema ``evenacre/summary/...``, and so on.
    account : dict
        JSON types only.

    Returns
    -------
    dict
        As in the file.
    """
    present = [p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()]
    whole = {**account, "files": sorted([*present, name])}
    (folder / name).write_text(json_text(whole) + "\n", encoding="utf-8", newline="\n")
    return whole


def check_replaceable(out: Path, account: str = SUMMARY) -> None:
    """Refuse an output folder that holds anything but an earlier result of the same kind.

    Raises
    ------
    InputError
        Naming what stands in the way.
    """
    remedy = "Choose another folder with --out, or move what is there."
    if not out.exists():
        return
    if not out.is_dir():
        raise InputError.at(out, "", "is a file, not a folder.", remedy)
    try:
        present = sorted(p.relative_to(out) for p in out.rglob("*") if not p.is_dir())
    except PermissionError:
        raise InputError.at(out, "", "cannot be read.", remedy) from None
    if not present:
        return
    own = _own_files(out / account)
    if own is None:
        raise InputError.at(out, "", "is not empty and holds no earlier Evenacre result.", remedy)
    strange = [
        p.as_posix()
        for p in present
        if p.as_posix() not in own and not any(fnmatch(p.name, litter) for litter in _LITTER)
    ]
    if strange:
        names = ", ".join(strange[:3]) + (" and more" if len(strange) > 3 else "")
        raise InputError.at(out, "", f"holds files that Evenacre did not write: {names}.", remedy)


def check_demo_folder(folder: Path, mark: str) -> None:
    """Refuse a folder for the sample farm that holds anything else.

    Parameters
    ----------
    folder : Path
    mark : str
        Name of a file that only a sample farm has.

    Raises
    ------
    InputError
        Rather than write over someone's own season.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError.at(folder, "", "is a file, not a folder.", _DEMO_REMEDY)
    if folder.is_dir() and any(folder.iterdir()) and not (folder / mark).is_file():
        raise InputError.at(folder, "", "is not empty and holds no sample farm.", _DEMO_REMEDY)


def _own_files(path: Path) -> set[str] | None:
    """Files that the account of an earlier result says were written; None: not ours."""
    try:
        account = json.loads(path.read_text(encoding="utf-8"))
        if not str(account["schema"]).startswith(f"evenacre/{path.stem}/"):
            return None
        return set(account["files"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _make_parents(folder: Path) -> list[Path]:
    made: list[Path] = []
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    for path in reversed(missing):
        path.mkdir(exist_ok=True)
        made.append(path)
    return made


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _swap(stage: Path, out: Path, account: str) -> None:
    """Put the new folder in the place of the old one, which returns if that fails."""
    if not out.exists():
        stage.rename(out)
        return
    check_replaceable(out, account)  # again: a long run leaves time to save something there
    old = Path(tempfile.mkdtemp(prefix=f".{out.name}-old-", dir=out.parent))
    try:
        out.rename(old / out.name)
        try:
            stage.rename(out)
        except BaseException:
            (old / out.name).rename(out)
            raise
    finally:
        if out.exists():
            shutil.rmtree(old, ignore_errors=True)


def _complaint(error: OSError, out: Path, option: str) -> InputError:
    """Say what a person can do about a failed write."""
    # A read-only disk has no free space either, so this comes first.
    if error.errno in _FORBIDDEN:
        what = "cannot be written: no permission, or the disk is read-only."
        remedy = f"Choose another folder with {option}."
    elif error.errno == errno.ENAMETOOLONG:
        what = "could not be written: the name is too long for this system."
        remedy = f"Choose a shorter one with {option}."
    elif error.errno in _FULL or _scarce(out):
        what = "could not be written: the disk is full."
        remedy = f"Free some space or choose another disk with {option}."
    else:
        what = f"could not be written ({error.strerror or error})."
        remedy = f"Check the disk, or choose another folder with {option}."
    return InputError.at(out, "", what, remedy)


def _about(error: OSError, out: Path) -> bool:
    """Tell whether an error names no file, or one on the way to the result or beside it."""
    if not isinstance(error.filename, str):
        return True
    path = Path(os.path.abspath(error.filename))
    return path.is_relative_to(out.parent) or out.is_relative_to(path)


def _scarce(out: Path) -> bool:
    """Tell whether the disk is full: GDAL and SQLite fail there with errors of their own."""
    try:
        disk = shutil.disk_usage(out.parent)
    except OSError:
        return False
    return disk.total > 0 and disk.free < _SCARCE_BYTES


def _remove_if_empty(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:
        return
