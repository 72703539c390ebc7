"""The sheet a printed map is drawn on: title, outline, scale bar, north arrow, legend."""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
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
from evenacre.units.display import UnitSystem

# Colours differ in lightness as well as in hue, and every one goes with a hatch, an outline or a
# number, so that a map still reads in grey or by a colour-blind eye.
ONCE = "#cfe3d2"
TWICE = "#e9a23b"
MORE = "#6d2e8c"
SKIP = "#c4122f"
OUTSIDE = "#4a5a6a"
NOTHING = "#b3afa8"
HEADLAND = "#1d4e89"
BOUNDARY = "#1a1a1a"
PASS = "#2b5d7d"
ZONE = "#5b3a1e"

# Names from files may hold a dollar sign, which is not the start of a formula here.
STYLE: Any = {"font.size": 10, "hatch.linewidth": 0.5, "text.parse_math": False}
_INCHES = 8.0
_DPI = 130
_SHORTEST, _TALLEST = 2.0, 11.0  # inches of the drawing itself
_TITLE, _STRIP, _LEGEND = 0.7, 0.65, 0.85  # inches for the words around it
_DETAIL_M = 0.1  # what a printed map can show
_COLOURS = 128


def ground(
    facecolor: str, edgecolor: str | None = None, linewidth: float = 0.0, **more: str
) -> dict[str, Any]:
    """Style of ground that is filled."""
    return {"facecolor": facecolor, "edgecolor": edgecolor, "linewidth": linewidth, **more}


UNWORKABLE = ground("#d8d4cc", OUTSIDE, 0.6, hatch="\\\\")


@dataclass
class Sheet:
    """A figure that is being drawn, and the entries of its legend: of what there is to see."""

    figure: Figure
    axes: Axes
    legend: list[Any] = field(default_factory=list)

    def fill(
        self, area: gpd.GeoSeries, label: str = "", order: int | None = None, **style: Any
    ) -> None:
        """Fill ground; without a label it is not in the legend."""
        if not len(area):
            return
        drawn = PathCollection(paths(area), **style)
        if order is not None:
            drawn.set_zorder(order)
        self.axes.add_collection(drawn)
        if label:
            self.legend.append(Patch(label=label, **style))

    def draw(
        self, lines: Sequence[Any], label: str, order: int, *, linestyle: Any, **style: Any
    ) -> None:
        """Draw lines of one colour and width."""
        if not len(lines):
            return
        chains = [shapely.get_coordinates(line) for line in lines]
        drawn = LineCollection(chains, zorder=order, linestyles=[linestyle], **style)
        self.axes.add_collection(drawn)
        self.legend.append(Line2D([], [], label=label, linestyle=linestyle, **style))

    def plot(self, x: Any, y: Any, label: str, order: int = 2, **style: Any) -> None:
        """Plot a curve or marks."""
        self.axes.plot(x, y, zorder=order, **style)
        self.legend.append(Line2D([], [], label=label, **style))

    def png(self, columns: int) -> bytes:
        """Set the legend at the foot, in columns, and draw the sheet."""
        self.figure.legend(
            handles=self.legend,
            loc="lower left",
            bbox_to_anchor=(0.01, 0.0),
            ncols=columns,
            frameon=False,
            fontsize=10,
            handlelength=2.4,
            handleheight=1.1,
        )
        return png(self.figure)


def blank(result: AuditResult, title: str, units: UnitSystem) -> Sheet:
    """Lay out a map of the field with its outline, and a scale bar and north arrow below it."""
    frames = (result.layers[n] for n in ("field", "outside", "cover"))
    boxes = np.array([f.total_bounds for f in frames if len(f)])
    box = (*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))
    subtitle = ", ".join(t for t in (result.date, units.area.text(result.boundary_area_m2)) if t)
    return outlined(result.layers["field"].geometry, box, title, subtitle, units)


def outlined(
    outline: gpd.GeoSeries,
    box: Sequence[float],
    title: str,
    subtitle: str,
    units: UnitSystem,
) -> Sheet:
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
    made = Sheet(figure, axes)
    made.fill(outline, order=5, **ground("none", BOUNDARY, 1.5))
    _scale_and_north(figure, axes, page, max(wide, tall * _INCHES / height), units)
    return made


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
