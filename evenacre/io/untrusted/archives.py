"""Zips from strangers: every member looked at before any is unpacked."""

from __future__ import annotations

import itertools
import mmap
import os
import re
import stat
import tempfile
import weakref
import zipfile
import zlib
from collections.abc import Callable, Collection, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePosixPath
from typing import BinaryIO, NamedTuple

from evenacre.errors import InputError, Problem
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import open_file, size_within
from evenacre.language import tr

DISTRUST = "Do not use it unless you know who made it; export it again."
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DRIVE = re.compile(r"^[A-Za-z]:")
_BLOCK = 1 << 20
_ARCHIVES = {".zip", ".kmz"}
# Folders and files that archivers and systems add.
_OF_THE_SYSTEM = {"__macosx", "system volume information", "$recycle.bin", "lost.dir"}
_OF_THE_SYSTEM |= {"desktop.ini", "thumbs.db"}
_PLAIN_NAME = re.compile(r"\w[\w ()+.-]*")
_LONGEST_NAME = 100  # bytes
_ENTRY = re.compile(rb"PK\x01\x02")
_FAILURES = (
    *(zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError),
    *(RuntimeError, NotImplementedError, OverflowError),
)


@contextmanager
def open_archive(path: Path, label: str, *, whole: bool = True) -> Iterator[zipfile.ZipFile]:
    """Open a zip whose members are harmless by number, name and kind.

    Parameters
    ----------
    whole : bool
        False when most of it is left alone: then what is locked or grows beyond measure is
        refused only when it is read.

    Raises
    ------
    InputError
        When it is damaged, locked with a password or made to do harm.
    """
    size_within(path, label, budget.MAP_BYTES)
    with open_file(path, label) as file, archive_in(file, label, whole=whole) as archive:
        yield archive


@contextmanager
def archive_in(file: BinaryIO, label: str, *, whole: bool = True) -> Iterator[zipfile.ZipFile]:
    """As :func:`open_archive`, of a file that is open already and stays so."""
    _check_directory(label, file)
    try:
        archive = zipfile.ZipFile(file)
    except _FAILURES:
        raise _damaged(label) from None
    with archive:
        for member in archive.infolist():
            _check_member(label, member)
            if whole:
                _check_content(label, member)
        yield archive


def read_member(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, label: str, limit_bytes: int
) -> bytes:
    """Return the content of a member."""
    return b"".join(_blocks(archive, member, label, limit_bytes))


@dataclass(frozen=True)
class Packed:
    """A file in a zip, or in a zip inside it."""

    name: str  # ``inner.zip/folder/a.shp``
    label: str  # of the zip it lies in, as people know it
    member: zipfile.ZipInfo
    _opened: zipfile.ZipFile
    _again: Opener

    def blocks(self, limit_bytes: int) -> Iterator[bytes]:
        """Give its content piece by piece, now or once the walk is over."""
        with nullcontext(self._opened) if self._opened.fp else self._again() as archive:
            yield from _blocks(archive, self.member, self.label, limit_bytes)

    def read(self, limit_bytes: int) -> bytes:
        """Return its content."""
        return b"".join(self.blocks(limit_bytes))


Opener = Callable[[], AbstractContextManager[zipfile.ZipFile]]


@dataclass
class ZipWalk:
    """Goes through zips and those inside them, all on one budget.

    What is wrong with a zip inside another is told and harms no other; what systems hide is
    passed over. With ``whole`` a zip in which anything may do harm is refused as it is opened.

    Attributes
    ----------
    label : str
        What is walked through, as people know it.
    wanted : collection of str
        Suffixes, in lower case.
    refused : list of Problem
        What is wrong with zips inside others.
    """

    label: str
    wanted: Collection[str]
    whole: bool = False
    refused: list[Problem] = field(default_factory=list)
    left_bytes: int = field(default_factory=lambda: budget.MAP_BYTES)
    left_members: int = field(default_factory=lambda: budget.ARCHIVE_MEMBERS)
    left_zips: int = field(default_factory=lambda: budget.ARCHIVE_MAPS)

    def files(self, path: Path) -> Iterator[Packed]:
        """Give every wanted file in a zip, those of zips in it last."""
        yield from self._inside(partial(open_archive, path, self.label, whole=self.whole), "", 0)

    def beside_others(self, path: Path, name: str) -> Iterator[Packed]:
        """As `files`, of a zip of which others do not depend."""
        label = f"{self.label}, {name}"
        archive = partial(open_archive, path, label, whole=self.whole)
        yield from self._nested(lambda: archive, name, 0)

    def spend(self, content_bytes: int, place: str) -> None:
        """Take so much from the budget of what is unpacked."""
        self.left_bytes -= content_bytes
        if self.left_bytes < 0:
            raise _too_large(self.label, place)

    def _nested(self, taken: Callable[[], Opener], name: str, depth: int) -> Iterator[Packed]:
        self.left_zips -= 1
        try:
            if self.left_zips < 0:
                what = tr(
                    "There are over {archive_maps} zips in it, too many to look into.",
                    archive_maps=budget.ARCHIVE_MAPS,
                )
                raise InputError.at(self.label, "", what, tr("Zip those of one field."))
            if depth > budget.ARCHIVE_DEPTH:
                place = f"{self.label}, {name}"
                raise InputError.at(place, "", tr("It lies too deep in zips."), DISTRUST)
            yield from self._inside(taken(), name, depth)
        except InputError as error:
            if min(self.left_zips, self.left_members, self.left_bytes) < 0:
                raise  # there is no going on
            self.refused += error.problems

    def _inside(self, archive: Opener, place: str, depth: int) -> Iterator[Packed]:
        label = f"{self.label}, {place}" if place else self.label
        inner: list[Packed] = []
        with archive() as opened:
            members = [m for m in opened.infolist() if not (m.is_dir() or is_hidden(_name(m)))]
            self.left_members -= len(members)
            if self.left_members < 0:
                raise _too_many(self.label)
            for member in members:
                name = str(PurePosixPath(place, _name(member)))
                suffix = PurePosixPath(name).suffix.lower()
                packed = Packed(name, label, member, opened, archive)
                if suffix in _ARCHIVES:
                    inner.append(packed)
                elif suffix in self.wanted:
                    yield packed
            for packed in inner:
                yield from self._nested(partial(self._kept, packed), packed.name, depth + 1)

    def _kept(self, packed: Packed) -> Opener:
        """Unpack a zip to where it lies as long as something may be read from it."""
        kept = tempfile.TemporaryFile()  # noqa: SIM115
        opener = partial(archive_in, kept, f"{self.label}, {packed.name}", whole=self.whole)
        weakref.finalize(opener, kept.close)
        for block in packed.blocks(budget.MAP_BYTES):
            self.spend(len(block), packed.name)
            kept.write(block)
        kept.flush()
        return opener


class Member(NamedTuple):
    """A file of a zip, unpacked."""

    file: Path
    name: str  # in the zip; of a zip inside it, ``inner.zip/folder/a.shp``


@dataclass(frozen=True)
class Unpacked:
    """What was taken out of a zip."""

    members: list[Member]
    warnings: list[str]
    refused: list[Problem]  # what is wrong with zips inside it, each told in a warning too


@contextmanager
def unpacked(path: Path, label: str, wanted: Collection[str]) -> Iterator[Unpacked]:
    """Unpack the members with certain suffixes into a folder of the system's for a while.

    Zips within the zip are looked into too.

    Parameters
    ----------
    wanted : collection of str
        Suffixes, in lower case.

    Yields
    ------
    Unpacked
        Members of one folder and stem stay beside each other, as the parts of a Shapefile have
        to, with one spelling of their name. Of two members of one name the later is taken.

    Raises
    ------
    InputError
        As :func:`open_archive`, and when they are too many or too large.
    """
    walk = ZipWalk(label, wanted)
    found: dict[str, Member] = {}  # by the name in lower case
    stems: dict[str, tuple[str, str]] = {}
    warnings: list[str] = []
    with tempfile.TemporaryDirectory(prefix="evenacre-") as home:
        for packed in walk.files(path):
            place = PurePosixPath(packed.name)
            # Some layers are called by the name of their file, so a plain one is kept.
            stem = place.stem if _is_plain(place.stem) else "map"
            folder, stem = stems.setdefault(
                str(place.with_suffix("")).lower(), (str(len(stems)), stem)
            )
            if len(stems) > budget.ARCHIVE_MAPS:
                most = budget.ARCHIVE_MAPS
                what = tr(
                    "The zip holds more than the {most} maps and logs that are read.", most=most
                )
                raise InputError.at(label, "", what, tr("Zip those of one field."))
            key = packed.name.lower()
            if key in found:
                warnings.append(
                    tr(
                        '{label}: it holds "{name}" twice; the later is read.',
                        label=label,
                        name=found[key].name,
                    )
                )
            file = Path(home, folder, f"{stem}{place.suffix.lower()}")
            _write(packed, file, walk)
            found[key] = Member(file, packed.name)
        members = sorted(found.values(), key=lambda member: member.name)
        passed = [tr("{problem} It was passed over.", problem=problem) for problem in walk.refused]
        yield Unpacked(members, warnings + passed, walk.refused)


def _write(packed: Packed, file: Path, walk: ZipWalk) -> None:
    try:
        file.parent.mkdir(exist_ok=True)
        with file.open("wb") as out:
            for block in packed.blocks(budget.MAP_BYTES):
                walk.spend(len(block), packed.name)
                out.write(block)
    except OSError as error:
        raise InputError.at(
            walk.label,
            packed.name,
            tr(
                "There is no room to unpack it in {gettempdir} ({strerror}).",
                gettempdir=tempfile.gettempdir(),
                strerror=error.strerror,
            ),
            tr("Free some space there, or unpack the zip yourself."),
        ) from None


def _name(member: zipfile.ZipInfo) -> str:
    """Name of a member with slashes, as some write it with those of another system."""
    return member.filename.replace("\\", "/")


def is_hidden(name: str) -> bool:
    """Whether a file or a folder that it lies in is a system's or an archiver's own."""
    parts = PurePosixPath(name).parts
    return any(part.startswith((".", "~$")) or part.lower() in _OF_THE_SYSTEM for part in parts)


def shown_below(folder: Path) -> Iterator[tuple[Path, list[str], list[str]]]:
    """As `os.walk`, without what is hidden."""
    for home, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not is_hidden(name))
        yield Path(home), folders, sorted(name for name in names if not is_hidden(name))


def _is_plain(stem: str) -> bool:
    return _PLAIN_NAME.fullmatch(stem) is not None and len(stem.encode()) <= _LONGEST_NAME


def _blocks(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, label: str, limit_bytes: int
) -> Iterator[bytes]:
    """Content of a member piece by piece, up to a limit."""
    _check_content(label, member)
    if member.compress_type not in _METHODS:
        raise InputError.at(
            label,
            member.filename,
            tr("it is packed in a way that is not read here."),
            tr("Zip it again in the usual way (deflate)."),
        )
    try:
        with archive.open(member) as stream:
            # The size stated in the zip may be a lie: what comes out is counted.
            while block := stream.read(_BLOCK):
                limit_bytes -= len(block)
                if limit_bytes < 0:
                    raise _too_large(label, member.filename)
                yield block
    except _FAILURES:
        raise _damaged(label, PurePosixPath(member.filename).name) from None


def _too_large(label: str, place: str) -> InputError:
    what = tr("Unpacked, it is larger than what is read of one zip.")
    return InputError.at(label, place, what, tr("Export less at a time."))


def _damaged(label: str, place: str = "") -> InputError:
    return InputError.at(
        label, place, tr("the zip is damaged or breaks off."), tr("Copy it again.")
    )


def _check_directory(label: str, file: BinaryIO) -> None:
    """Refuse a zip of too many members before its list of them is taken in."""
    if os.fstat(file.fileno()).st_size == 0:
        raise _damaged(label)
    with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        entries = itertools.islice(re.finditer(_ENTRY, content), budget.ARCHIVE_MEMBERS + 1)
        if sum(1 for _ in entries) > budget.ARCHIVE_MEMBERS:
            raise _too_many(label)


def _too_many(label: str) -> InputError:
    what = tr(
        "the zip holds over {archive_members:,} files, too many to be read.",
        archive_members=budget.ARCHIVE_MEMBERS,
    )
    return InputError.at(label, "", what, DISTRUST)


def _check_member(label: str, member: zipfile.ZipInfo) -> None:
    """Refuse what no exporter writes and an attacker might, wanted or not."""
    # The zip module has already turned the separators of this system into slashes.
    name = member.orig_filename
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if name.startswith(("/", "\\")) or _DRIVE.match(name) or ".." in parts or "\0" in name:
        raise InputError.at(
            label,
            "",
            tr('a file in the zip is named "{name}", outside of it.', name=name),
            DISTRUST,
        )
    if stat.S_ISLNK(member.external_attr >> 16):
        raise InputError.at(label, name, tr("it is a link, not a file."), DISTRUST)


def _check_content(label: str, member: zipfile.ZipInfo) -> None:
    """Refuse to unpack what is locked or grows beyond measure."""
    name = member.orig_filename
    if member.flag_bits & 0x1:
        raise InputError.at(
            label, name, tr("the zip is locked with a password."), tr("Zip it again without one.")
        )
    if member.file_size > budget.ARCHIVE_RATIO_FROM_BYTES and (
        member.file_size > budget.ARCHIVE_RATIO * max(member.compress_size, 1)
    ):
        raise InputError.at(
            label,
            name,
            tr(
                "it would grow more than {archive_ratio}-fold when unpacked, which no log "
                "does (a zip bomb).",
                archive_ratio=budget.ARCHIVE_RATIO,
            ),
            DISTRUST,
        )
