"""Open a folder or zip of task data without trusting a word of it."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath

from evenacre.errors import InputError
from evenacre.io.untrusted.archives import DISTRUST, open_archive, read_member
from evenacre.io.untrusted.files import read_whole

MAIN = "taskdata.xml"
MAX_BYTES = 160 * 1024**2
"""Largest file read: a log of 160 MB holds days of driving at 10 Hz."""

_MAX_DEPTH = 3

Reader = Callable[[int], bytes]
"""Gives the bytes of a file, up to a limit."""


@dataclass(frozen=True)
class TaskFiles:
    """The files beside a TASKDATA.XML, found whatever the case of their names."""

    label: str  # The folder or zip, as shown to people
    _readers: dict[str, Reader]

    def has(self, name: str) -> bool:
        """Tell whether there is a file of that name."""
        return name.lower() in self._readers

    def read(self, name: str, limit: int = MAX_BYTES) -> bytes:
        """Return the bytes of a file; InputError if it is missing, damaged or larger."""
        if any(sign in name for sign in "/\\:") or name in ("", ".", ".."):
            what = f'it names a file outside its folder ("{name}").'
            raise InputError.at(self.label, "", what, DISTRUST)
        reader = self._readers.get(name.lower())
        if reader is None:
            what = f"the file {name} is missing."
            raise InputError.at(self.label, "", what, "Export the task data again.")
        return reader(limit)


def is_taskdata(path: Path) -> bool:
    """Tell whether a path is a set of task data: the XML file, its folder, or a zip of it."""
    try:
        if path.is_dir():
            return main_folder(path) is not None
        if path.name.lower() == MAIN:
            return True
        if not (path.is_file() and zipfile.is_zipfile(path)):
            return False
        with open_archive(path, path.name) as archive:
            return any(_is_main(name) for name in archive.namelist())
    except (OSError, ValueError, InputError):
        return False


def open_taskdata(path: Path) -> TaskFiles:
    """Find the files of a set of task data.

    Parameters
    ----------
    path : Path
        A folder (or one with a TASKDATA folder in it), a zip, or the TASKDATA.XML.

    Raises
    ------
    InputError
        When there is none, or a zip is damaged, encrypted or made to do harm.
    """
    if not path.exists():
        raise InputError.at(path, "", "there is no such file.", "Check the name.")
    if path.is_dir():
        folder = main_folder(path)
        if folder is None:
            raise _no_main(path.name)
        label = path.name or str(path)
        return _task_files(label, _folder_files(label, folder))
    if path.name.lower() == MAIN:
        return _task_files(path.name, _folder_files(path.name, path.parent))
    return _task_files(path.name, _zip_files(path))


def _no_main(label: str) -> InputError:
    what = "there is no TASKDATA.XML in it."
    return InputError.at(label, "", what, "Name the folder or zip that holds it.")


def main_folder(path: Path) -> Path | None:
    """Return the folder itself or the one below it that holds the main file; None: neither."""
    entries = sorted(path.iterdir())
    if any(entry.name.lower() == MAIN for entry in entries):
        return path
    inner = [entry for entry in entries if entry.name.lower() == "taskdata" and entry.is_dir()]
    return next((f for f in inner if any(e.name.lower() == MAIN for e in f.iterdir())), None)


def _task_files(label: str, found: Iterable[tuple[str, Reader]]) -> TaskFiles:
    readers: dict[str, Reader] = {}
    for place, reader in found:
        name = PurePosixPath(place).name.lower()
        if name in readers:
            what = "the file is there twice, in upper and lower case."
            raise InputError.at(label, place, what, "Remove one of them.")
        readers[name] = reader
    return TaskFiles(label, readers)


def _folder_files(label: str, folder: Path) -> Iterator[tuple[str, Reader]]:
    home = folder.resolve()
    for entry in sorted(folder.iterdir()):
        if not entry.name.lower().endswith((".xml", ".bin")):
            continue
        if entry.is_symlink() and entry.resolve().parent != home:
            raise InputError.at(label, entry.name, "it is a link out of its folder.", DISTRUST)
        if entry.is_file():
            yield entry.name, partial(read_whole, entry, f"{label}, {entry.name}")


def _is_main(name: str) -> bool:
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return bool(parts) and parts[-1].lower() == MAIN and parts[0] != "__MACOSX"


def _zip_files(path: Path) -> Iterator[tuple[str, Reader]]:
    with open_archive(path, path.name) as archive:
        members = [(PurePosixPath(m.filename), m) for m in archive.infolist()]
    depth = {file: len(file.parts) for file, m in members if _is_main(m.filename)}
    least = min(depth.values(), default=_MAX_DEPTH + 1)
    if least > _MAX_DEPTH:
        raise _no_main(path.name)
    mains = [file for file, m in members if depth.get(file) == least]
    if len(mains) > 1:
        what = f"it holds {len(mains)} sets of task data."
        raise InputError.at(path.name, "", what, "Unpack it and name one of its folders.")
    for file, member in members:
        if file.parent == mains[0].parent and not member.is_dir():
            yield member.filename, partial(_read_member, path, member)


def _read_member(path: Path, member: zipfile.ZipInfo, limit: int) -> bytes:
    with open_archive(path, path.name) as archive:
        return read_member(archive, member, path.name, limit)
