"""Open a folder or zip of task data without trusting a word of it."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from evenacre.errors import InputError
from evenacre.io.untrusted.archives import DISTRUST, open_archive, read_member
from evenacre.io.untrusted.files import read_whole

MAIN = "taskdata.xml"
MAX_BYTES = 160 * 1024**2
"""Largest file read: a log of 160 MB holds days of driving at 10 Hz."""

_MAX_DEPTH = 3
_AGAIN = "Export the task data again."


@dataclass(frozen=True)
class TaskFiles:
    """The files beside a TASKDATA.XML, found whatever the case of their names.

    Attributes
    ----------
    label : str
        The folder or zip, as shown to people.
    """

    label: str
    _readers: dict[str, Callable[[int], bytes]]

    def has(self, name: str) -> bool:
        """Tell whether there is a file of that name."""
        return name.lower() in self._readers

    def read(self, name: str, limit: int = MAX_BYTES) -> bytes:
        """Return the bytes of a file.

        Raises
        ------
        InputError
            When it is missing, damaged or larger than ``limit``.
        """
        if any(sign in name for sign in "/\\:") or name in ("", ".", ".."):
            raise InputError.at(
                self.label, "", f'it names a file outside its folder ("{name}").', DISTRUST
            )
        reader = self._readers.get(name.lower())
        if reader is None:
            raise InputError.at(self.label, "", f"the file {name} is missing.", _AGAIN)
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
        return _folder_files(path.name or str(path), folder)
    if path.name.lower() == MAIN:
        return _folder_files(path.name, path.parent)
    return _zip_files(path)


def _no_main(label: str) -> InputError:
    return InputError.at(
        label, "", "there is no TASKDATA.XML in it.", "Name the folder or zip that holds it."
    )


def main_folder(path: Path) -> Path | None:
    """Return the folder itself or the one below it that holds the main file; None: neither."""
    entries = sorted(path.iterdir())
    if any(entry.name.lower() == MAIN for entry in entries):
        return path
    inner = [entry for entry in entries if entry.name.lower() == "taskdata" and entry.is_dir()]
    return next((f for f in inner if any(e.name.lower() == MAIN for e in f.iterdir())), None)


def _folder_files(label: str, folder: Path) -> TaskFiles:
    home = folder.resolve()
    readers: dict[str, Callable[[int], bytes]] = {}
    for entry in sorted(folder.iterdir()):
        key = entry.name.lower()
        if not key.endswith((".xml", ".bin")):
            continue
        if entry.is_symlink() and entry.resolve().parent != home:
            raise InputError.at(label, entry.name, "it is a link out of its folder.", DISTRUST)
        if not entry.is_file():
            continue
        if key in readers:
            raise _twice(label, entry.name)
        readers[key] = _file_reader(label, entry)
    return TaskFiles(label, readers)


def _twice(label: str, name: str) -> InputError:
    return InputError.at(
        label, name, "the file is there twice, in upper and lower case.", "Remove one of them."
    )


def _file_reader(label: str, file: Path) -> Callable[[int], bytes]:
    def read(limit: int) -> bytes:
        return read_whole(file, f"{label}, {file.name}", limit)

    return read


def _is_main(name: str) -> bool:
    parts = PurePosixPath(name.replace("\\", "/")).parts
    return bool(parts) and parts[-1].lower() == MAIN and parts[0] != "__MACOSX"


def _zip_files(path: Path) -> TaskFiles:
    label = path.name
    with open_archive(path, label) as archive:
        members = archive.infolist()
    mains = [m for m in members if _is_main(m.filename) and _depth(m) <= _MAX_DEPTH]
    if not mains:
        raise _no_main(label)
    least = min(map(_depth, mains))
    mains = [m for m in mains if _depth(m) == least]
    if len(mains) > 1:
        raise InputError.at(
            label,
            "",
            f"it holds {len(mains)} sets of task data.",
            "Unpack it and name one of its folders.",
        )
    home = PurePosixPath(mains[0].filename).parent
    readers: dict[str, Callable[[int], bytes]] = {}
    for member in members:
        file = PurePosixPath(member.filename)
        if file.parent != home or member.is_dir():
            continue
        if file.name.lower() in readers:
            raise _twice(label, member.filename)
        readers[file.name.lower()] = _member_reader(label, path, member)
    return TaskFiles(label, readers)


def _depth(member: zipfile.ZipInfo) -> int:
    return len(PurePosixPath(member.filename).parts)


def _member_reader(label: str, path: Path, member: zipfile.ZipInfo) -> Callable[[int], bytes]:
    def read(limit: int) -> bytes:
        with open_archive(path, label) as archive:
            return read_member(archive, member, label, limit)

    return read
