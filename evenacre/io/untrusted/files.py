"""Open what is a file, and no more of it than its budget."""

from __future__ import annotations

import codecs
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.language import tr

_BLOCK = 1 << 20
_LOOKED_AT, _ZEROS = 4096, 0.2  # of which so many are zeros in text of two bytes a sign
_ZEROS_MARKED = 0.05  # or so many, where it begins with the mark of it


def open_file(path: Path, label: str = "") -> BinaryIO:
    """Open a file for reading; a pipe, device, socket or folder is refused, not waited for."""
    label = label or path.name
    try:
        # Without waiting: the other end of a named pipe may never come.
        descriptor = os.open(
            path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        )
    except FileNotFoundError:
        raise InputError.at(
            label, "", tr("There is no such file."), tr("Check the name and the folder.")
        ) from None
    except (OSError, ValueError) as error:
        if path.is_dir():
            raise _no_file(label, "a folder") from None
        if isinstance(error, OSError) and stat.S_ISSOCK(_mode(path)):
            raise _no_file(label, "a socket") from None
        reason = getattr(error, "strerror", None) or error
        raise InputError.at(
            label,
            "",
            tr("It cannot be read ({reason}).", reason=reason),
            tr("Check who may read it."),
        ) from None
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        kind = "a folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "a device or pipe"
        os.close(descriptor)
        raise _no_file(label, kind)
    return os.fdopen(descriptor, "rb")


def read_start(path: Path, size_bytes: int, label: str = "") -> bytes:
    """Return the beginning of a file."""
    with open_file(path, label) as file:
        return _read(file, size_bytes, label or path.name)


def read_whole(path: Path, label: str = "", limit_bytes: int = budget.TEXT_BYTES) -> bytes:
    """Return all of a file."""
    return b"".join(blocks(path, label, limit_bytes))


def wide_encoding(start: bytes) -> str:
    """Name the encoding of text of two bytes a sign, by its mark or its zeros; empty of others."""
    marked = start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    # Digits and punctuation have zeros in any language; binary junk may begin like the mark.
    if marked and start[:_LOOKED_AT].count(0) >= _ZEROS_MARKED * len(start[:_LOOKED_AT]):
        return "utf-16"
    even, odd = start[:_LOOKED_AT:2].count(0), start[1:_LOOKED_AT:2].count(0)
    # Binary messages of a receiver hold zeros at all places.
    if max(even, odd) < max(_ZEROS * len(start[:_LOOKED_AT]), 4 * min(even, odd)):
        return ""
    return "utf-16-le" if odd > even else "utf-16-be"


def narrowed(content: bytes) -> bytes:
    """Text of two bytes a sign as UTF-8; anything else as it is."""
    encoding = wide_encoding(content) if b"\0" in content[:_LOOKED_AT] else ""
    return content.decode(encoding, errors="replace").encode() if encoding else content


def blocks(path: Path, label: str = "", limit_bytes: int = budget.TEXT_BYTES) -> Iterator[bytes]:
    """Give the content of a file piece by piece."""
    label = label or path.name
    with open_file(path, label) as file:
        left = os.fstat(file.fileno()).st_size  # what is added from now on is not waited for
        if left > limit_bytes:
            raise budget.too_large(label, limit_bytes)
        while left > 0 and (block := _read(file, min(left, _BLOCK), label)):
            left -= len(block)
            yield block


def size_within(path: Path, label: str, limit_bytes: int) -> int:
    """Return the size of a file."""
    with open_file(path, label) as file:
        size = os.fstat(file.fileno()).st_size
    if size > limit_bytes:
        raise budget.too_large(label, limit_bytes)
    return size


def _read(file: BinaryIO, size_bytes: int, label: str) -> bytes:
    try:
        return file.read(size_bytes) or b""  # None of a file that would have to be waited for
    except OSError as error:
        raise InputError.at(
            label,
            "",
            tr("It cannot be read ({strerror}).", strerror=error.strerror),
            tr("Check the disk it is on."),
        ) from None


def _no_file(label: str, kind: str) -> InputError:
    return InputError.at(
        label, "", tr("This is {kind}, not a file.", kind=kind), tr("Name the file itself.")
    )


def _mode(path: Path) -> int:
    try:
        return path.stat().st_mode
    except OSError:
        return 0
