"""Files that fuzzing has found to reach code of their own, a small archive for each reader."""

from __future__ import annotations

import io
import tarfile
from pathlib import Path

_PLACE = Path(__file__).parent / "corpus"


def corpus_of(name: str) -> list[bytes]:
    """The files of a reader; none when nothing was kept yet."""
    archive = _PLACE / f"{name}.tar.xz"
    if not archive.exists():
        return []
    with tarfile.open(archive) as tar:
        return [tar.extractfile(member).read() for member in tar]  # type: ignore[union-attr]


def write_corpus(name: str, contents: list[bytes]) -> None:
    """Keep these files and no others; alike ones take little room in one archive."""
    _PLACE.mkdir(exist_ok=True)
    with tarfile.open(_PLACE / f"{name}.tar.xz", "w:xz") as tar:
        for number, content in enumerate(contents):
            member = tarfile.TarInfo(str(number))
            member.size = len(content)
            tar.addfile(member, io.BytesIO(content))
