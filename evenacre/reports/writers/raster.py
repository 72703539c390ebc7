"""Drawings as PNG: of few colours, with nothing in them that changes between runs."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import typst
from PIL import Image

from evenacre.reports.writers.fonts import faces, fonts_folder

_TEMPLATE = Path(__file__).with_name("raster.typ")
_COLOURS = 128
_NEARLY_WHITE = 250  # of 255


def raster(svg: str, dpi: int) -> bytes:
    """Draw an SVG of our own as PNG."""
    drawn = typst.compile(
        _TEMPLATE,
        root=_TEMPLATE.parent,
        font_paths=faces(fonts_folder()),
        format="png",
        ppi=dpi,
        sys_inputs={"drawing": svg},
    )
    return few_colours(Image.open(io.BytesIO(drawn)).convert("RGB"), dpi)


def few_colours(picture: Image.Image, dpi: int) -> bytes:
    """Write a picture as PNG of few colours."""
    picture = picture.quantize(_COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    # Colours are gathered into few, white into one that is nearly so: paper stays white.
    colours = np.asarray(picture.getpalette(), dtype=np.uint8).reshape(-1, 3)
    colours[(colours >= _NEARLY_WHITE).all(axis=1)] = 255
    picture.putpalette(colours.tobytes())
    buffer = io.BytesIO()
    picture.save(buffer, format="PNG", dpi=(dpi, dpi))
    return buffer.getvalue()
