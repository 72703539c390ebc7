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
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import open_file, size_within

DISTRUST = "Do not use it unless you know who made it; export it again."
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DRIVE = re.compile(r"^[A-Za-z]:")
_BLOCK = 1 << 20
# The Mac's archiver adds a hidden copy of each name.
_HIDDEN = "__MACOSX"
_PLAIN_NAME = re.compile(r"\w[\w ()+.-]{0,99}")
_ENTRY = re.compile(rb"PK\x01\x02")
_FAILURES = (
    *(zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError),
    *(RuntimeError, NotImplementedError, OverflowError),
)


@contextmanager
def open_archive(path: Path, label: str) -> Iterator[zipfile.ZipFile]:
    """Open a zip whose members are harmless by name, size and kind.

    Raises
    ------
    InputError
        When it is damaged, locked with a password or made to do harm.
    """
    size_within(path, label, budget.MAP_BYTES)
    with open_file(path, label) as file, archive_in(file, label) as archive:
        yield archive


@contextmanager
def archive_in(file: BinaryIO, label: str) -> Iterator[zipfile.ZipFile]:
    """As :func:`open_archive`, of a file that is open already and stays so."""
    _check_directory(label, file)
    try:
        archive = zipfile.ZipFile(file)
    except _FAILURES:
        raise _damaged(label) from None
    with archive:
        for member in archive.infolist():
            _check_member(label, member)
        yield archive


def read_member(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, label: str, limit_bytes: int
) -> bytes:
    """Return the content of a member."""
    return b"".join(_blocks(archive, member, label, limit_bytes))


@contextmanager
def unpacked(path: Path, label: str, wanted: Collection[str]) -> Iterator[list[tuple[Path, str]]]:
    """Unpack the members with certain suffixes into a folder of the system's for a while.

    Parameters
    ----------
    wanted : collection of str
        Suffixes, in lower case.

    Yields
    ------
    list of (Path, str)
        Each unpacked file and the member's name. Members of one folder and stem stay beside
        each other, as the parts of a Shapefile have to.

    Raises
    ------
    InputError
        As :func:`open_archive`, and when they are too many or too large.
    """
    with (
        tempfile.TemporaryDirectory(prefix="evenacre-") as home,
        open_archive(path, label) as archive,
    ):
        members = [m for m in archive.infolist() if _is_wanted(m, wanted)]
        if len(members) > budget.ARCHIVE_MAPS:
            raise InputError.at(
                label,
                "",
                f"The zip holds {len(members):,} map files, more than the "
                f"{budget.ARCHIVE_MAPS} that are read.",
                "Zip those of one field.",
            )
        found, folders, left = [], dict[PurePosixPath, Path](), budget.MAP_BYTES
        for member in sorted(members, key=lambda m: m.filename):
            name = PurePosixPath(member.filename)
            folder = folders.setdefault(name.with_suffix(""), Path(home, str(len(folders))))
            folder.mkdir(exist_ok=True)
            # Some layers are called by the name of their file, so a plain one is kept.
            stem = name.stem if _PLAIN_NAME.fullmatch(name.stem) else "map"
            file = folder / f"{stem}{name.suffix.lower()}"
            try:
                with file.open("wb") as out:
                    out.writelines(_blocks(archive, member, label, left))
                    left -= out.tell()
            except OSError as error:
                raise InputError.at(
                    label,
                    member.filename,
                    f"There is no room to unpack it in {tempfile.gettempdir()} ({error.strerror}).",
                    "Free some space there, or unpack the zip yourself.",
                ) from None
            found.append((file, member.filename))
        yield found


def _blocks(
    archive: zipfile.ZipFile, member: zipfile.ZipInfo, label: str, limit_bytes: int
) -> Iterator[bytes]:
    """Content of a member piece by piece, up to a limit."""
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
                    raise InputError.at(
                        label,
                        member.filename,
                        "Unpacked, it is larger than what is read of one zip.",
                        "Export less at a time.",
                    )
                yield block
    except _FAILURES:
        raise _damaged(label, PurePosixPath(member.filename).name) from None


def _damaged(label: str, place: str = "") -> InputError:
    return InputError.at(label, place, "the zip is damaged or breaks off.", "Copy it again.")


def _is_wanted(member: zipfile.ZipInfo, wanted: Collection[str]) -> bool:
    name = PurePosixPath(member.filename)
    return not member.is_dir() and name.suffix.lower() in wanted and name.parts[0] != _HIDDEN


def _check_directory(label: str, file: BinaryIO) -> None:
    """Refuse a zip of too many members before its list of them is taken in."""
    if os.fstat(file.fileno()).st_size == 0:
        raise _damaged(label)
    with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        entries = itertools.islice(re.finditer(_ENTRY, content), budget.ARCHIVE_MEMBERS + 1)
        if sum(1 for _ in entries) > budget.ARCHIVE_MEMBERS:
            raise InputError.at(
                label,
                "",
                f"the zip holds over {budget.ARCHIVE_MEMBERS:,} files, too many to be read.",
                DISTRUST,
            )


def _check_member(label: str, member: zipfile.ZipInfo) -> None:
    """Refuse what no exporter writes and an attacker might."""
    # The zip module has already turned the separators of this system into slashes.
    name = member.orig_filename
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if name.startswith(("/", "\\")) or _DRIVE.match(name) or ".." in parts or "\0" in name:
        raise InputError.at(
            label, "", f'a file in the zip is named "{name}", outside of it.', DISTRUST
        )
    if stat.S_ISLNK(member.external_attr >> 16):
        raise InputError.at(label, name, "it is a link, not a file.", DISTRUST)
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
