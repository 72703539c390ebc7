"""Zips from strangers: every member looked at before any is unpacked."""

from __future__ import annotations

import itertools
import mmap
import os
import re
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import BinaryIO, NamedTuple

from evenacre.errors import InputError, Problem, gathered
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import open_file, size_within

DISTRUST = "Do not use it unless you know who made it; export it again."
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DRIVE = re.compile(r"^[A-Za-z]:")
_BLOCK = 1 << 20
_ARCHIVES = {".zip", ".kmz"}
# The Mac's archiver adds a hidden copy of each name.
_HIDDEN = "__MACOSX"
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

    Zips within the zip are looked into too. What other systems hide in a zip is passed over.

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
    with tempfile.TemporaryDirectory(prefix="evenacre-") as home:
        most = budget.MAP_BYTES, budget.ARCHIVE_MEMBERS
        unpacking = _Unpacking(label, Path(home), wanted, *most)
        unpacking.take(path, label, "", budget.ARCHIVE_DEPTH)
        members = sorted(unpacking.found.values(), key=lambda member: member.name)
        passed = [f"{problem} It was passed over." for problem in unpacking.refused]
        yield Unpacked(members, unpacking.warnings + passed, unpacking.refused)


@dataclass
class _Unpacking:
    """A zip being unpacked with those inside it, all on one budget."""

    label: str
    home: Path
    wanted: Collection[str]
    left_bytes: int
    left_members: int
    # By the name in lower case
    found: dict[str, Member] = field(default_factory=dict)
    stems: dict[str, tuple[Path, str]] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    refused: list[Problem] = field(default_factory=list)

    def take(self, path: Path, place: str, folder: str, depth: int) -> None:
        """Unpack what is wanted of a zip, then of the zips in it."""
        inner: list[Member] = []
        with open_archive(path, place, whole=False) as archive:
            members = [m for m in archive.infolist() if not (m.is_dir() or _is_hidden(m))]
            self.left_members -= len(members)
            if self.left_members < 0:
                raise _too_many(self.label)
            for member in members:
                name = folder + _name(member)
                suffix = PurePosixPath(name).suffix.lower()
                if suffix in _ARCHIVES:
                    inner.append(Member(self._write(archive, member, name), name))
                elif suffix in self.wanted:
                    if (known := self.found.get(name.lower())) is not None:
                        self.warnings.append(
                            f'{self.label}: it holds "{known.name}" twice; the later is read.'
                        )
                    self.found[name.lower()] = Member(self._write(archive, member, name), name)
        for file, name in inner:
            place = f"{self.label}, {name}"
            with gathered(self.refused):
                if not depth:
                    raise InputError.at(place, "", "It lies too deep in zips.", DISTRUST)
                self.take(file, place, f"{name}/", depth - 1)
            over = (
                len(self.stems) > budget.ARCHIVE_MAPS or min(self.left_bytes, self.left_members) < 0
            )
            if over:  # a budget is used up, so there is no going on
                raise InputError(self.refused[-1])
            file.unlink()

    def _write(self, archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> Path:
        plain = PurePosixPath(name)
        # Some layers are called by the name of their file, so a plain one is kept.
        stem = plain.stem if _is_plain(plain.stem) else "map"
        fresh = (self.home / str(len(self.stems)), stem)
        folder, stem = self.stems.setdefault(str(plain.with_suffix("")).lower(), fresh)
        if len(self.stems) > budget.ARCHIVE_MAPS:
            what = f"The zip holds more than the {budget.ARCHIVE_MAPS} maps and logs that are read."
            raise InputError.at(self.label, "", what, "Zip those of one field.")
        folder.mkdir(exist_ok=True)
        file = folder / f"{stem}{plain.suffix.lower()}"
        try:
            with file.open("wb") as out:
                for block in _blocks(archive, member, self.label, budget.MAP_BYTES):
                    self.left_bytes -= len(block)
                    if self.left_bytes < 0:
                        raise _too_large(self.label, name)
                    out.write(block)
        except OSError as error:
            raise InputError.at(
                self.label,
                name,
                f"There is no room to unpack it in {tempfile.gettempdir()} ({error.strerror}).",
                "Free some space there, or unpack the zip yourself.",
            ) from None
        return file


def _name(member: zipfile.ZipInfo) -> str:
    """Name of a member with slashes, as some write it with those of another system."""
    return member.filename.replace("\\", "/")


def _is_hidden(member: zipfile.ZipInfo) -> bool:
    parts = PurePosixPath(_name(member)).parts
    return any(part == _HIDDEN or part.startswith(".") for part in parts)


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
            "it is packed in a way that is not read here.",
            "Zip it again in the usual way (deflate).",
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
    what = "Unpacked, it is larger than what is read of one zip."
    return InputError.at(label, place, what, "Export less at a time.")


def _damaged(label: str, place: str = "") -> InputError:
    return InputError.at(label, place, "the zip is damaged or breaks off.", "Copy it again.")


def _check_directory(label: str, file: BinaryIO) -> None:
    """Refuse a zip of too many members before its list of them is taken in."""
    if os.fstat(file.fileno()).st_size == 0:
        raise _damaged(label)
    with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        entries = itertools.islice(re.finditer(_ENTRY, content), budget.ARCHIVE_MEMBERS + 1)
        if sum(1 for _ in entries) > budget.ARCHIVE_MEMBERS:
            raise _too_many(label)


def _too_many(label: str) -> InputError:
    what = f"the zip holds over {budget.ARCHIVE_MEMBERS:,} files, too many to be read."
    return InputError.at(label, "", what, DISTRUST)


def _check_member(label: str, member: zipfile.ZipInfo) -> None:
    """Refuse what no exporter writes and an attacker might, wanted or not."""
    # The zip module has already turned the separators of this system into slashes.
    name = member.orig_filename
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if name.startswith(("/", "\\")) or _DRIVE.match(name) or ".." in parts or "\0" in name:
        raise InputError.at(
            label, "", f'a file in the zip is named "{name}", outside of it.', DISTRUST
        )
    if stat.S_ISLNK(member.external_attr >> 16):
        raise InputError.at(label, name, "it is a link, not a file.", DISTRUST)


def _check_content(label: str, member: zipfile.ZipInfo) -> None:
    """Refuse to unpack what is locked or grows beyond measure."""
    name = member.orig_filename
    if member.flag_bits & 0x1:
        raise InputError.at(
            label, name, "the zip is locked with a password.", "Zip it again without one."
        )
    if member.file_size > budget.ARCHIVE_RATIO_FROM_BYTES and (
        member.file_size > budget.ARCHIVE_RATIO * max(member.compress_size, 1)
    ):
        raise InputError.at(
            label,
            name,
            "it would grow more than "
            f"{budget.ARCHIVE_RATIO}-fold when unpacked, which no log does (a zip bomb).",
            DISTRUST,
        )
