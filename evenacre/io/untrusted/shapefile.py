"""The index of a Shapefile, made anew where it was lost."""

from __future__ import annotations

import struct
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.language import tr

_HEADER_BYTES = 100
_PARTS = (".dbf", ".prj", ".cpg")


@contextmanager
def with_index(path: Path, label: str, warnings: list[str]) -> Iterator[Path]:
    """Give a Shapefile with an index: itself, or a copy where it has none.

    Parameters
    ----------
    warnings : list of str
        Gets one when the index was made anew.
    """
    if _beside(path, ".shx") is not None:
        yield path
        return
    warnings.append(
        tr("{label}: its index (the .shx part) is missing and was made anew.", label=label)
    )
    with tempfile.TemporaryDirectory(prefix="evenacre-") as folder:
        copy = Path(folder, path.stem + ".shp")
        content = read_whole(path, label, budget.MAP_BYTES)
        copy.write_bytes(content)
        copy.with_suffix(".shx").write_bytes(_index(content))
        for suffix in _PARTS:
            if (part := _beside(path, suffix)) is not None:
                copy.with_suffix(suffix).write_bytes(read_whole(part, label, budget.MAP_BYTES))
        yield copy


def _beside(path: Path, suffix: str) -> Path | None:
    parts = (path.with_suffix(spelled) for spelled in (suffix, suffix.upper()))
    return next((part for part in parts if part.exists()), None)


def _index(content: bytes) -> bytes:
    """Where each record begins and how long it is (ESRI Shapefile Technical Description, 1998).

    Lengths are counted in words of two bytes; a record that breaks off ends the file.
    """
    entries = bytearray()
    place = _HEADER_BYTES
    while place + 8 <= len(content):
        (words,) = struct.unpack_from(">i", content, place + 4)
        after = place + 8 + 2 * words
        if words < 2 or after > len(content):
            break
        entries += struct.pack(">ii", place // 2, words)
        place = after
    words = (_HEADER_BYTES + len(entries)) // 2
    return content[:24] + struct.pack(">i", words) + content[28:_HEADER_BYTES] + bytes(entries)
