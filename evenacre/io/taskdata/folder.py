"""Find the sets of task data in a folder or zip without trusting a word of it."""

from __future__ import annotations

import hashlib
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path, PurePosixPath

from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.archives import DISTRUST, ZipWalk, shown_below
from evenacre.io.untrusted.files import read_whole
from evenacre.language import tr

MAIN = "taskdata.xml"
MAX_BYTES = 160 * 1024**2
"""Largest file read: a log of 160 MB holds days of driving at 10 Hz."""

_MAX_SETS = 100
_PARTS = (".xml", ".bin")

Reader = Callable[[int], bytes]
"""Gives the bytes of a file, up to a limit."""


@dataclass(frozen=True)
class TaskFiles:
    """The files beside a TASKDATA.XML, found whatever the case of their names."""

    label: str  # The folder or zip, as shown to people
    place: str  # Folder of the set in that; empty when it is the only one
    _readers: dict[str, Reader]

    def has(self, name: str) -> bool:
        """Tell whether there is a file of that name."""
        return name.lower() in self._readers

    def read(self, name: str, limit: int = MAX_BYTES) -> bytes:
        """Return the bytes of a file; InputError if it is missing, damaged or larger."""
        if any(sign in name for sign in "/\\:") or name in ("", ".", ".."):
            what = tr('it names a file outside its folder ("{name}").', name=name)
            raise InputError.at(self.label, "", what, DISTRUST)
        reader = self._readers.get(name.lower())
        if reader is None:
            what = tr("the file {name} is missing.", name=name)
            raise InputError.at(self.label, "", what, tr("Export the task data again."))
        return reader(limit)

    def main_digest(self) -> bytes:
        """Return what tells its main file from others; empty when it cannot be read."""
        try:
            return hashlib.sha256(self.read(MAIN)).digest()
        except InputError:
            return b""

    def repeats(self, other: TaskFiles) -> bool:
        """Tell whether every file of it is one of another set, to the byte."""
        try:
            return all(
                name in other._readers and self.read(name) == other.read(name)
                for name in sorted(self._readers, key=lambda name: name != MAIN)
            )
        except InputError:
            return False


def is_taskdata(path: Path) -> bool:
    """Tell whether there is task data: the XML file, or a folder or zip with one anywhere in it."""
    try:
        if path.name.lower() == MAIN and path.is_file():
            return True
        if not path.is_dir() and not (path.is_file() and zipfile.is_zipfile(path)):
            return False
        return any(_is_main(place) for place, _ in _files(path, _walk_of(path.name)))
    except (OSError, ValueError, InputError):
        return False


def open_sets(path: Path) -> tuple[list[TaskFiles], list[str]]:
    """Find every set of task data, and say what could not be looked into.

    Parameters
    ----------
    path : Path
        A folder or zip with sets however deep in it, also in zips, or one TASKDATA.XML.

    Raises
    ------
    InputError
        When there is none, or a zip is damaged, encrypted or made to do harm.
    """
    if not path.exists():
        raise InputError.at(path, "", tr("there is no such file."), tr("Check the name."))
    label = path.name or str(path)
    walk = _walk_of(label)
    if path.is_dir() or path.name.lower() != MAIN:
        found = list(_files(path, walk))
    else:
        found = [(PurePosixPath(name), read) for name, read in _beside(label, path.parent)]
    homes: dict[PurePosixPath, list[tuple[PurePosixPath, Reader]]] = {
        place.parent: [] for place, _ in found if _is_main(place)
    }
    if len(homes) > _MAX_SETS:
        what = tr(
            "it holds {count:,} sets of task data, more than are read at once.", count=len(homes)
        )
        raise InputError.at(label, "", what, tr("Name the folder or zip of some of them."))
    for place, reader in found:
        if place.parent in homes:
            homes[place.parent].append((place, reader))
    sets: list[TaskFiles] = []
    alike: dict[bytes, list[TaskFiles]] = {}
    twins: list[str] = []
    for home, files in homes.items():
        name = "" if len(homes) == 1 else home.as_posix()
        said = f"{label}, {name}" if name not in ("", ".") else label
        try:
            made = _task_files(said, name, files)
        except InputError as error:
            walk.refused += error.problems
            continue
        others = alike.setdefault(made.main_digest(), []) if len(homes) > 1 else []
        twin = next((other for other in others if made.repeats(other)), None)
        if twin:
            twins.append(
                tr(
                    "{said}: it is the same as {label} and was left out.",
                    said=said,
                    label=twin.label,
                )
            )
        else:
            sets.append(made)
            others.append(made)
    if not sets:
        if walk.refused:
            raise InputError(walk.refused)
        what = tr("there is no TASKDATA.XML in it.")
        raise InputError.at(label, "", what, tr("Name the folder or zip that holds it."))
    if len(sets) == 1:
        sets = [replace(sets[0], label=label, place="")]
    return sets, [
        *(tr("{problem} It was left out.", problem=problem) for problem in walk.refused),
        *twins,
    ]


def taskdata_parts(path: Path) -> list[Path] | None:
    """Return the files on disk that make up task data; None when it is not a folder of it."""
    if path.name.lower() == MAIN and not path.is_dir():
        homes = {path.parent}
        zips: list[Path] = []
    elif path.is_dir():
        files = list(islice(_below(path), budget.ARCHIVE_MEMBERS))
        homes = {file.parent for file in files if file.name.lower() == MAIN}
        zips = [file for file in files if file.suffix.lower() == ".zip"]
        if not homes and not any(is_taskdata(file) for file in zips):
            return None
    else:
        return None
    flat = [part for home in homes for part in home.iterdir() if _is_flat(part)]
    return sorted({*flat, *zips})


def _task_files(label: str, name: str, found: list[tuple[PurePosixPath, Reader]]) -> TaskFiles:
    readers: dict[str, Reader] = {}
    for place, reader in found:
        key = place.name.lower()
        if key in readers:
            what = tr("the file is there twice, in upper and lower case.")
            raise InputError.at(label, str(place), what, tr("Remove one of them."))
        readers[key] = reader
    return TaskFiles(label, name, readers)


def _is_flat(entry: Path) -> bool:
    return entry.name.lower().endswith(_PARTS) and not entry.is_dir()


def _is_main(place: PurePosixPath) -> bool:
    return place.name.lower() == MAIN


def _below(folder: Path) -> Iterator[Path]:
    """Give the files below a folder that may belong to task data, but for hidden ones."""
    for home, _, names in shown_below(folder):
        yield from (home / name for name in names if name.lower().endswith((*_PARTS, ".zip")))


def _beside(label: str, folder: Path) -> Iterator[tuple[str, Reader]]:
    """Give the files of one folder, each to be read when it is asked for."""
    home = folder.resolve()
    for entry in sorted(folder.iterdir()):
        if not entry.name.lower().endswith(_PARTS):
            continue
        if entry.is_symlink() and entry.resolve().parent != home:
            raise InputError.at(label, entry.name, tr("it is a link out of its folder."), DISTRUST)
        if entry.is_file():
            yield entry.name, partial(read_whole, entry, f"{label}, {entry.name}")


def _walk_of(label: str) -> ZipWalk:
    return ZipWalk(label, _PARTS, whole=True)


def _files(path: Path, walk: ZipWalk) -> Iterator[tuple[PurePosixPath, Reader]]:
    """Give the place of every file in a zip, or of sets and in zips below a folder, to be read."""
    if not path.is_dir():
        yield from ((PurePosixPath(packed.name), packed.read) for packed in walk.files(path))
        return
    seen: dict[Path, None] = {}
    for count, file in enumerate(_below(path)):
        if count == budget.ARCHIVE_MEMBERS:
            what = tr("there are over {count:,} files below it, too many to be read.", count=count)
            raise InputError.at(walk.label, "", what, tr("Name the folder of the task data."))
        place = PurePosixPath(file.relative_to(path).as_posix())
        if place.suffix.lower() == ".zip" and not file.is_symlink():
            for packed in walk.beside_others(file, str(place)):
                yield PurePosixPath(packed.name), packed.read
        elif _is_main(place):
            seen[file.parent] = None
    for home in seen:
        inside = PurePosixPath(home.relative_to(path).as_posix())
        for name, reader in _beside(walk.label, home):
            yield inside / name, reader
