"""Pages of a PDF as another program draws and reads them: poppler's pdftoppm and pdftotext."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

_XHTML = "{http://www.w3.org/1999/xhtml}"


@dataclass(frozen=True)
class Word:
    """A word and its box, in points from the upper left corner of its page."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def need_poppler() -> None:
    if shutil.which("pdftoppm") is None or shutil.which("pdftotext") is None:
        # CI asks for it: there a missing one is a failure, not a skip.
        refuse = pytest.fail if os.environ.get("REQUIRE_POPPLER") else pytest.skip
        refuse("no poppler-utils: pdftoppm, pdftotext")


def pictures(pdf: bytes, dpi: int = 50) -> list[np.ndarray]:
    """Every page in grey, as drawn by pdftoppm."""
    need_poppler()
    ran = subprocess.run(
        ["pdftoppm", "-gray", "-r", str(dpi)], input=pdf, capture_output=True, check=True
    )
    assert not ran.stderr
    found, data = [], io.BytesIO(ran.stdout)
    while data.tell() < len(ran.stdout):
        head = re.match(rb"P5\s(\d+) (\d+)\s255\s", ran.stdout[data.tell() : data.tell() + 40])
        assert head
        wide, high = int(head[1]), int(head[2])
        data.seek(head.end(), 1)
        grey = Image.frombytes("L", (wide, high), data.read(wide * high))
        found.append(np.asarray(grey))
    return found


def words_of(pdf: bytes, tmp_path: Path) -> list[list[Word]]:
    """Words of every page with their boxes, as read by pdftotext."""
    need_poppler()
    (tmp_path / "in.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftotext", "-bbox", str(tmp_path / "in.pdf"), str(tmp_path / "out.html")], check=True
    )
    # What XML forbids comes through from fonts without a name for a sign.
    text = re.sub(
        r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "", (tmp_path / "out.html").read_text("utf-8", "replace")
    )
    pages = ET.fromstring(text).iter(f"{_XHTML}page")
    names = ("xMin", "yMin", "xMax", "yMax")
    return [
        [
            Word(word.text or "", *(float(word.attrib[name]) for name in names))
            for word in page.iter(f"{_XHTML}word")
        ]
        for page in pages
    ]


def check_pages(pdf: bytes, tmp_path: Path, margin_pt: float = 17.0) -> None:
    """Nothing is drawn into the margins, and no word lies on another or runs off the page."""
    for page in pictures(pdf):
        edge = round(margin_pt / 72 * 50)
        inside = page[edge:-edge, edge:-edge]
        assert (inside < 128).any(), "an empty page"
        page = page.copy()
        page[edge:-edge, edge:-edge] = 255
        assert page.min() > 200, "something is drawn into the margin"
    sheets = words_of(pdf, tmp_path)
    with_size = [np.array([[w.left, w.top, w.right, w.bottom] for w in page]) for page in sheets]
    for words, boxes in zip(sheets, with_size, strict=True):
        if not len(boxes):
            continue
        left, top, right, bottom = boxes.T
        # A tenth of a letter to all sides is left: boxes of lines touch.
        slack = 0.25 * (bottom - top)
        wide = np.minimum(right[:, None], right) - np.maximum(left[:, None], left)
        high = np.minimum(bottom[:, None], bottom) - np.maximum(top[:, None], top)
        over = (wide > 0.7) & (high > np.minimum(slack[:, None], slack) * 2)
        np.fill_diagonal(over, False)
        pairs = [(words[i].text, words[j].text) for i, j in np.argwhere(over) if i < j]
        assert not pairs, f"words on words: {pairs[:5]}"
