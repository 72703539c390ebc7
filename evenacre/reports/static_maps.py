"""Maps to print: what was covered, and each product's rate, as PNG."""

from __future__ import annotations

import io
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.path import Path
from matplotlib_scalebar.scalebar import ScaleBar

from evenacre.coverage.result import AuditResult, Grid, ProductResult
from evenacre.reports import figures, palette
from evenacre.reports.fixlist import stops
from evenacre.units import UnitSystem

_STYLE = {"font.size": 10, "hatch.linewidth": 0.5, "text.parse_math": False}
_INCHES = 8.0
_DPI = 130
_SHORTEST, _TALLEST = 3.2, 11.0  # inches of the drawing itself
_HATCH_CELLS = 300  # hatches are traced on a grid no finer than this
_PLAIN = 0.1  # metres of detail that a printed map can show


def static_maps(result: AuditResult, units: UnitSystem) -> dict[str, bytes]:
    """Draw the cover map and one rate map a product.

    Returns
    -------
    dict of str to bytes
        ``"cover"`` and ``"rate_<product>"`` to PNG; equal results give equal bytes.
    """
    maps = {"cover": cover_map(result, units)}
    names = figures.unique_slugs(p.product for p in result.products)
    for product, name in zip(result.products, names, strict=True):
        maps[f"rate_{name}"] = rate_map(result, product, units)
    return maps


def cover_map(result: AuditResult, units: UnitSystem) -> bytes:
    """Draw ground covered once, twice, three times and more, missed and outside."""
    with rc_context(_STYLE):
        figure, axes = _sheet(result, f"{result.field}: {result.operation}", units)
        cover = result.layers["cover"]
        legend = []

        def ground(geometry: gpd.GeoSeries, label: str, **style: Any) -> None:
            if len(geometry):
                axes.add_collection(PathCollection(_paths(geometry), **style))
                legend.append(Patch(label=label, **style))

        def level(n: int) -> gpd.GeoSeries:
            return cover.geometry[cover["cover"] == n]

        ground(
            result.layers["unworkable"].geometry,
            "not to be worked",
            facecolor=palette.UNWORKABLE,
            edgecolor="#77716a",
            hatch="\\\\",
            linewidth=0.6,
        )
        ground(level(1), "covered once", facecolor=palette.ONCE, linewidth=0)
        ground(
            level(2),
            "covered twice",
            facecolor=palette.TWICE,
            edgecolor="#7a4a00",
            hatch="////",
            linewidth=0.2,
        )
        ground(
            level(3),
            "three times or more",
            facecolor=palette.MORE,
            edgecolor="white",
            hatch="xxxx",
            linewidth=0.2,
        )
        ground(
            result.layers["outside"].geometry,
            "worked outside",
            facecolor="none",
            edgecolor=palette.OUTSIDE,
            hatch="oo",
            linewidth=0.6,
        )
        ground(
            result.layers["skips"].geometry,
            "missed (numbered)",
            facecolor=palette.SKIP,
            edgecolor=palette.SKIP,
            linewidth=1.4,
        )
        headland = result.layers["headland"].geometry
        if len(headland):
            line = {"colors": palette.HEADLAND, "linestyles": "dashed", "linewidths": 1.0}
            inner = [
                shapely.get_coordinates(ring)
                for part in shapely.get_parts(headland.to_numpy())
                for ring in part.interiors
            ]
            lines = LineCollection(inner, label="headland line", **line)
            axes.add_collection(lines)
            legend.append(lines)
        _number(axes, result)
        _finish(figure, axes, legend, title="Ground")
        return _png(figure)


def rate_map(result: AuditResult, product: ProductResult, units: UnitSystem) -> bytes:
    """Draw a product's rate in classes about its target, or about its mean without one."""
    middle = product.target_kg_per_m2 or product.mean_rate_kg_per_m2
    word = "target" if product.target_kg_per_m2 else "mean"
    with rc_context(_STYLE):
        title = f"{result.field}: {product.product}, {word} {units.rate.text(middle)}"
        figure, axes = _sheet(result, title, units)
        legend = []
        if middle > 0:
            grid = product.rate
            classes = _classes(grid.values / middle)
            left, top, right, bottom = _extent(grid)
            axes.imshow(
                classes,
                extent=(left, right, bottom, top),
                cmap=ListedColormap(palette.RATE_COLOURS),
                norm=BoundaryNorm(np.arange(-0.5, 5.5), 5),
                interpolation="nearest",
                zorder=1,
            )
            _hatch(axes, grid, classes)
            edges = [units.rate.of(middle * e) for e in palette.RATE_EDGES]
            legend = [
                Patch(facecolor=c, hatch=h, edgecolor="#333333", linewidth=0.4, label=name)
                for c, h, name in zip(
                    palette.RATE_COLOURS,
                    palette.RATE_HATCHES,
                    _class_names(edges, units.rate.label, word),
                    strict=True,
                )
            ]
        _finish(figure, axes, legend, title="Rate")
        return _png(figure)


def _class_names(edges: list[float], label: str, word: str) -> list[str]:
    digits = 0 if edges[0] >= 10 else 2
    low, under, over, high = (f"{e:,.{digits}f}" for e in edges)
    return [
        f"under {low} {label} (less than half)",
        f"{low} to {under}",
        f"{under} to {over} (within 10 % of {word})",
        f"{over} to {high}",
        f"over {high} (half as much again)",
    ]


def _classes(ratio: np.ndarray[Any, Any]) -> np.ma.MaskedArray[Any, Any]:
    classes = np.digitize(np.nan_to_num(ratio), palette.RATE_EDGES)
    masked: np.ma.MaskedArray[Any, Any] = np.ma.masked_array(
        classes, ~np.isfinite(ratio) | (ratio <= 0)
    )
    return masked


def _extent(grid: Grid) -> tuple[float, float, float, float]:
    rows, cols = grid.values.shape
    t = grid.transform
    return t.c, t.f, t.c + cols * t.a, t.f + rows * t.e


def _hatch(axes: Axes, grid: Grid, classes: np.ma.MaskedArray[Any, Any]) -> None:
    """Hatch the classes away from the middle one."""
    step = max(1, int(np.ceil(max(classes.shape) / _HATCH_CELLS)))
    coarse = classes[step // 2 :: step, step // 2 :: step].filled(2)
    rows, cols = coarse.shape
    if rows < 2 or cols < 2:
        return
    x = grid.transform.c + grid.transform.a * (step // 2 + 0.5 + step * np.arange(cols))
    y = grid.transform.f + grid.transform.e * (step // 2 + 0.5 + step * np.arange(rows))
    for level, hatch in enumerate(palette.RATE_HATCHES):
        inside = (coarse == level).astype(float)
        if hatch and inside.any():
            axes.contourf(x, y, inside, levels=[0.5, 2], colors="none", hatches=[hatch], zorder=2)


def _sheet(result: AuditResult, title: str, units: UnitSystem) -> tuple[Figure, Axes]:
    """Blank map of the field with its outline, scale bar and north arrow."""
    frames = [result.layers[n] for n in ("field", "outside", "cover")]
    boxes = np.array([f.total_bounds for f in frames if len(f)])
    left, bottom, right, top = *boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0)
    margin = 0.03 * max(right - left, top - bottom, 1.0)
    wide, tall = right - left + 2 * margin, top - bottom + 2 * margin
    height = float(np.clip(_INCHES * tall / wide, _SHORTEST, _TALLEST))
    figure = Figure(figsize=(_INCHES, height + 1.9), dpi=_DPI, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.set_xlim(left - margin, right + margin)
    axes.set_ylim(bottom - margin, top + margin)
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    subtitle = f"{result.date}   {units.area.text(result.boundary_area_m2)}".strip()
    axes.set_title(f"{title}\n{subtitle}", loc="left", fontsize=11, wrap=True)
    axes.add_collection(
        PathCollection(
            _paths(result.layers["field"].geometry),
            facecolor="none",
            edgecolor=palette.BOUNDARY,
            linewidth=1.5,
            zorder=5,
        )
    )
    imperial = units.name == "us"
    axes.add_artist(
        ScaleBar(
            1 / 0.3048 if imperial else 1.0,
            units="ft" if imperial else "m",
            dimension="imperial-length" if imperial else "si-length",
            location="lower left",
            box_alpha=0.85,
            fixed_units="ft" if imperial else None,
        )
    )
    axes.annotate(
        "N",
        xy=(0.965, 0.985),
        xytext=(0.965, 0.985 - 0.65 / height),
        xycoords="axes fraction",
        ha="center",
        va="top",
        fontsize=12,
        fontweight="bold",
        arrowprops={"arrowstyle": "-|>", "linewidth": 1.6, "color": "black"},
        bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
        zorder=8,
    )
    return figure, axes


def _number(axes: Axes, result: AuditResult) -> None:
    for stop in stops(result).itertuples():
        axes.annotate(
            str(stop.skip),
            xy=(stop.x_m, stop.y_m),
            xytext=(9, 9),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=8,
            fontweight="bold",
            color="white",
            bbox={"boxstyle": "circle,pad=0.22", "facecolor": palette.SKIP, "edgecolor": "white"},
            arrowprops={"arrowstyle": "-", "color": palette.SKIP, "linewidth": 1.0},
            zorder=7,
        )


def _finish(figure: Figure, axes: Axes, legend: list[Any], title: str) -> None:
    if legend:
        axes.legend(
            handles=legend,
            title=title,
            loc="upper left",
            bbox_to_anchor=(0, -0.01),
            ncols=3,
            frameon=False,
            fontsize=9,
            borderaxespad=0.2,
            alignment="left",
        )


def _paths(geometry: gpd.GeoSeries) -> list[Path]:
    """One compound path a polygon, to the detail a printed map can show."""
    parts = shapely.get_parts(shapely.simplify(geometry.to_numpy(), _PLAIN))
    polygons = parts[(shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)]
    return [_path(p) for p in shapely.orient_polygons(polygons)]


def _path(polygon: Any) -> Path:
    rings = [shapely.get_coordinates(r) for r in (polygon.exterior, *polygon.interiors)]
    codes = [
        np.r_[Path.MOVETO, np.full(len(r) - 2, Path.LINETO), Path.CLOSEPOLY].astype(np.uint8)
        for r in rings
    ]
    return Path(np.concatenate(rings), np.concatenate(codes))


def _png(figure: Figure) -> bytes:
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()
