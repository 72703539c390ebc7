"""Matplotlib's fonts: they have letters of most of the world, and a sign for the rest."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

import typst
from PIL import ImageFont

_MEASURED = 100  # pixels of the letters that are measured


def fonts_folder() -> Path:
    """Where they lie; found without loading Matplotlib, which takes half a second."""
    spec = find_spec("matplotlib")
    assert spec is not None
    assert spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"


@cache
def faces(folder: Path) -> typst.Fonts:
    """Fonts of a folder for typst, and no others."""
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[folder]
    )


@cache
def _measured() -> ImageFont.FreeTypeFont:
    font = fonts_folder() / "DejaVuSans.ttf"
    return ImageFont.truetype(font, _MEASURED, layout_engine=ImageFont.Layout.BASIC)


def width_of(text: str, size: float) -> float:
    """How wide a text is in plain letters of a size, in the unit of the size."""
    return _measured().getlength(text) * size / _MEASURED
