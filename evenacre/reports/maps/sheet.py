"""The sheet a printed map is drawn on: title, outline, scale bar, north arrow, legend."""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.path import Path
from matplotlib_scalebar.scalebar import ScaleBar
from PIL import Image

from evenacre.geo.overlay import simplified
from evenacre.model.audit_result import AuditResult
from evenacre.reports.maps import palette
from evenacre.units.display import UnitSystem

# Names from files may hold a dollar sign, which is not the start of a formula here.
STYLE: Any = {"font.size": 10, "hatch.linewidth": 0.5, "text.parse_math": False}
UNWORKABLE: Any = {
    "facecolor": palette.UNWORKABLE,
    "edgecolor": palette.OUTSIDE,
    "hatch": "\\\\",
    "linewidth": 0.6,
}
_INCHES = 8.0
_DPI = 130
_SHORTEST, _TALLEST = 2.0, 11.0  # inches of the drawing itself
_TITLE, _STRIP, _LEGEND = 0.7, 0.65, 0.85  # inches for the words around it
_DETAIL_M = 0.1  # what a printed map can show
_COLOURS = 128


def blank(result: AuditResult, title: str, units: UnitSystem) -> tuple[Figure, Axes]:
    """Lay out a map of the field with its outline, and a scale bar and north arrow below it."""
    frames = [result.layers[n] for n in ("field", "outside", "cover")]
    boxes = np.array([f.total_bounds for f in frames if len(f)])
    left, bottom = boxes[:, :2].min(axis=0)
    right, top = boxes[:, 2:].max(axis=0)
    subtitle = ", ".join(t for t in (result.date, units.area.text(result.boundary_area_m2)) if t)
    field = result.layers["field"].geometry
    return outlined(field, (left, bottom, right, top), title, subtitle, units)


def outlined(
    field: gpd.GeoSeries,
    box: tuple[float, float, float, float],
    title: str,
    subtitle: str,
    units: UnitSystem,
) -> tuple[Figure, Axes]:
    """Lay out a map of what lies in a box (left, bottom, right, top), with a field's outline."""
    left, bottom, right, top = box
    margin = 0.02 * max(right - left, top - bottom, 1.0)
    wide, tall = right - left + 2 * margin, top - bottom + 2 * margin
    height = float(np.clip(_INCHES * tall / wide, _SHORTEST, _TALLEST))
    page = _TITLE + height + _STRIP + _LEGEND
    figure = Figure(figsize=(_INCHES, page), dpi=_DPI)
    axes = figure.add_axes((0, (_LEGEND + _STRIP) / page, 1, height / page))
    axes.set_axis_off()
    axes.set_aspect("equal")
    axes.set_xlim(left - margin, right + margin)
    axes.set_ylim(bottom - margin, top + margin)
    for text, y, points in ((title, 0.12, 13), (subtitle, 0.42, 10)):
        short = textwrap.shorten(text, 75, placeholder=" ...")
        figure.text(0.02, 1 - y / page, short, fontsize=points, va="top")
    axes.add_collection(
        PathCollection(
            paths(field),
            facecolor="none",
            edgecolor=palette.BOUNDARY,
            linewidth=1.5,
            zorder=5,
        )
    )
    _scale_and_north(figure, axes, page, max(wide, tall * _INCHES / height), units)
    return figure, axes


def _scale_and_north(
    figure: Figure, axes: Axes, page: float, wide_m: float, units: UnitSystem
) -> None:
    middle = (_LEGEND + _STRIP / 2) / page
    per_metre = units.length.per_si
    axes.add_artist(
        ScaleBar(
            per_metre,
            units=units.length.label,
            dimension="imperial-length" if units.name == "us" else "si-length",
            fixed_value=_round_down(wide_m * per_metre / 4),
            fixed_units=units.length.label,
            location="center left",
            bbox_to_anchor=(0.01, middle),
            bbox_transform=figure.transFigure,
            frameon=False,
        )
    )
    axes.annotate(
        "N",
        xy=(0.95, middle + 0.8 * _STRIP / 2 / page),
        xytext=(0.95, middle - 0.8 * _STRIP / 2 / page),
        xycoords="figure fraction",
        textcoords="figure fraction",
        ha="center",
        va="bottom",
        fontsize=12,
        fontweight="bold",
        arrowprops={"arrowstyle": "-|>", "linewidth": 1.6, "color": "black"},
        annotation_clip=False,
    )


def _round_down(value: float) -> int:
    """Greatest of 1, 2, 5, 10, 20 ... that does not exceed a value of at least 1."""
    power = 10 ** int(np.floor(np.log10(max(value, 1.0))))
    return int(max(n for n in (1, 2, 5) if n * power <= max(value, 1.0)) * power)


def fill(
    axes: Axes, geometry: gpd.GeoSeries, label: str, order: int | None = None, **style: Any
) -> list[Patch]:
    """Fill ground; its entry in the legend, or none where there is no ground."""
    if not len(geometry):
        return []
    ground = PathCollection(paths(geometry), **style)
    if order is not None:
        ground.set_zorder(order)
    axes.add_collection(ground)
    return [Patch(label=label, **style)]


def draw(
    axes: Axes, lines: Sequence[Any], label: str, order: int, *, color: str, linewidth: float,
    linestyle: Any = "solid",
) -> list[Line2D]:  # fmt: skip
    """Draw lines; their entry in the legend, or none where there are no lines."""
    if not len(lines):
        return []
    chains = [shapely.get_coordinates(line) for line in lines]
    axes.add_collection(
        LineCollection(
            chains, colors=color, linestyles=[linestyle], linewidths=linewidth, zorder=order
        )
    )
    return [Line2D([], [], label=label, color=color, linewidth=linewidth, linestyle=linestyle)]


def add_legend(figure: Figure, entries: list[Any], columns: int) -> None:
    """Set the legend at the foot of the sheet."""
    figure.legend(
        handles=entries,
        loc="lower left",
        bbox_to_anchor=(0.01, 0.0),
        ncols=columns,
        frameon=False,
        fontsize=10,
        handlelength=2.4,
        handleheight=1.1,
    )


def paths(geometry: gpd.GeoSeries) -> list[Path]:
    """Turn polygons into one compound path, to the detail a printed map can show.

    One path of many rings draws far faster than many paths.
    """
    parts = shapely.get_parts(simplified(geometry.to_numpy(), _DETAIL_M))
    polygons = parts[(shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)]
    if not len(polygons):
        return []
    rings = shapely.get_rings(shapely.orient_polygons(polygons))
    points, ring = shapely.get_coordinates(rings, return_index=True)
    codes = np.full(len(points), Path.LINETO, dtype=np.uint8)
    codes[np.flatnonzero(np.diff(ring, prepend=-1))] = Path.MOVETO
    codes[np.flatnonzero(np.diff(ring, append=-1))] = Path.CLOSEPOLY
    return [Path(points, codes)]


def png(figure: Figure) -> bytes:
    """Draw the sheet as a PNG of few colours, with nothing in it that changes between runs."""
    canvas: Any = FigureCanvasAgg(figure)
    with warnings.catch_warnings():
        # Letters the font lacks are drawn as boxes; the report itself shows them.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        canvas.draw()
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]
    picture = Image.fromarray(np.ascontiguousarray(pixels)).quantize(
        _COLOURS, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
    )
    buffer = io.BytesIO()
    picture.save(buffer, format="PNG", dpi=(_DPI, _DPI))
    return buffer.getvalue()
