"""Maps to print: what was covered, and each product's rate, as PNG."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from affine import Affine
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import Patch

from evenacre.io.writers.file_names import unique_slugs
from evenacre.model.audit_result import AuditResult, Grid, ProductResult
from evenacre.reports.maps import sheet
from evenacre.reports.sentences.fix_list import stops
from evenacre.units.display import UnitSystem

_GROUNDS = {
    "not to be worked": {**sheet.UNWORKABLE, "edgecolor": "#77716a"},
    "covered once": sheet.ground(sheet.ONCE),
    "covered twice": sheet.ground(sheet.TWICE, "#7a4a00", hatch="////"),
    "three times or more": sheet.ground(sheet.MORE, "white", hatch="xxxx"),
    "worked outside": sheet.ground("none", sheet.OUTSIDE, 0.6, hatch="oo"),
    "missed (numbered)": sheet.ground(sheet.SKIP, sheet.SKIP, 0.8),
    "gap in the log: look first": sheet.ground(
        "white", sheet.SKIP, 0.8, hatch="----", linestyle="dashed"
    ),
}
# Shares of the target rate, from far under to far over: brown through pale to blue.
_RATE_EDGES = (0.5, 0.9, 1.1, 1.5)
_RATE_COLOURS = ("#8c510a", "#dfb66b", "#f2efe4", "#74b3c4", "#0b4f6c")
_RATE_HATCHES = ("xxx", "\\\\\\", "", "///", "...")
_CLEAR_PIXELS = 26
_SQUARE_M = 2.0  # side of what the rate is averaged over
_HATCH_CELLS = 300  # hatches are traced on a grid no finer than this


def static_maps(result: AuditResult, units: UnitSystem) -> dict[str, bytes]:
    """Draw the cover map and one rate map a product: ``cover`` and ``rate_<product>`` to PNG.

    Where gaps between passes cannot be told, the cover map shows the passes as lines, and there
    are no maps of rates.
    """
    if not result.tells_places:
        return {"cover": _passes_map(result, units)}
    maps = {"cover": cover_map(result, units)}
    names = unique_slugs(p.product for p in result.products)
    for product, name in zip(result.products, names, strict=True):
        maps[f"rate_{name}"] = rate_map(result, product, units)
    return maps


def cover_map(result: AuditResult, units: UnitSystem) -> bytes:
    """Draw ground covered once, twice, three times and more, missed and outside."""
    with rc_context(sheet.STYLE):
        made = sheet.blank(result, f"{result.field}: {result.operation}", units)
        cover, skips, outside = (result.layers[name] for name in ("cover", "skips", "outside"))
        unlogged = skips["kind"] == "no log"
        frames = (
            result.layers["unworkable"],
            *(cover[cover["cover"] == times] for times in (1, 2, 3)),
            outside if result.boundary_given else outside.iloc[:0],
            skips[~unlogged],
            skips[unlogged],
        )
        for (label, style), frame in zip(_GROUNDS.items(), frames, strict=True):
            made.fill(frame.geometry, label, **style)
        headland = result.layers["headland"].geometry
        if len(headland):
            parts = shapely.get_parts(headland.to_numpy())
            inner = [shapely.get_coordinates(ring) for part in parts for ring in part.interiors]
            dashed: Any = {"colors": sheet.HEADLAND, "linestyles": "dashed", "linewidths": 1.0}
            lines = LineCollection(inner, label="headland line", **dashed)
            made.axes.add_collection(lines)
            made.legend.append(lines)
        _number(made.axes, result)
        return made.png(3)


def _passes_map(result: AuditResult, units: UnitSystem) -> bytes:
    """Draw where the machine drove, and what is bare for sure."""
    with rc_context(sheet.STYLE):
        made = sheet.blank(result, f"{result.field}: {result.operation}", units)
        skips, passes = result.layers["skips"], result.layers["passes"]
        for label, ground in (
            ("not to be worked", result.layers["unworkable"]),
            ("missed (numbered)", skips),
        ):
            made.fill(ground.geometry, label, **_GROUNDS[label])
        made.draw(
            passes.geometry.to_list(),
            "passes",
            4,
            linestyle="solid",
            color="#1f4e3d",
            linewidth=0.9,
        )
        _number(made.axes, result)
        return made.png(3)


def rate_map(result: AuditResult, product: ProductResult, units: UnitSystem) -> bytes:
    """Draw a product's rate in classes about its target, or about its mean without one.

    Rates are means over squares of about two metres: a hand's breadth of overlap between two
    passes is not a rate of its own.
    """
    middle = product.target_kg_per_m2 or product.mean_rate_kg_per_m2
    word = "target" if product.target_kg_per_m2 else "mean"
    with rc_context(sheet.STYLE):
        title = f"{result.field}: {product.product}, {word} {units.rate.text(middle)}"
        made = sheet.blank(result, title, units)
        nothing: dict[str, Any] = {"facecolor": sheet.NOTHING, "edgecolor": sheet.NOTHING}
        for layer, order, width in (("field", 0, 0.0), ("skips", 3, 1.2)):
            made.fill(result.layers[layer].geometry, order=order, linewidth=width, **nothing)
        made.legend.append(Patch(label="nothing applied", **nothing))
        if middle > 0:
            rate, transform = _squares(product.rate)
            classes = _classes(rate / middle)
            rows, cols = classes.shape
            left, top = transform.c, transform.f
            made.axes.imshow(
                classes,
                extent=(left, left + cols * transform.a, top + rows * transform.e, top),
                cmap=ListedColormap(_RATE_COLOURS),
                norm=BoundaryNorm(np.arange(-0.5, 5.5), 5),
                interpolation="nearest",
                zorder=1,
            )
            _hatch(made.axes, classes, transform)
            edges = [units.rate.of(middle * e) for e in _RATE_EDGES]
            made.legend += [
                Patch(facecolor=c, hatch=h, edgecolor="#333333", linewidth=0.4, label=name)
                for c, h, name in zip(
                    _RATE_COLOURS,
                    _RATE_HATCHES,
                    _class_names(edges, units.rate.label, word),
                    strict=True,
                )
            ]
        return made.png(2)


def _squares(grid: Grid) -> tuple[npt.NDArray[np.float64], Affine]:
    """Average what was applied over larger squares; one mostly without stays unknown."""
    step = max(1, round(_SQUARE_M / grid.cell_m))
    values = grid.values.astype(float)
    rows, cols = (-(-n // step) for n in values.shape)
    padded = np.full((rows * step, cols * step), np.nan)
    padded[: values.shape[0], : values.shape[1]] = values
    blocks = padded.reshape(rows, step, cols, step)
    known = (blocks > 0).sum(axis=(1, 3))
    total = np.nansum(blocks, axis=(1, 3))
    mean = np.where(2 * known > step * step, total / np.maximum(known, 1), np.nan)
    return mean, grid.transform @ Affine.scale(step)


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


def _classes(ratio: npt.NDArray[np.float64]) -> np.ma.MaskedArray[Any, Any]:
    classes = np.digitize(np.nan_to_num(ratio), _RATE_EDGES)
    masked: np.ma.MaskedArray[Any, Any] = np.ma.masked_array(
        classes, ~np.isfinite(ratio) | (ratio <= 0)
    )
    return masked


def _hatch(axes: Axes, classes: np.ma.MaskedArray[Any, Any], transform: Affine) -> None:
    """Hatch the classes away from the middle one."""
    step = max(1, int(np.ceil(max(classes.shape) / _HATCH_CELLS)))
    coarse = classes[step // 2 :: step, step // 2 :: step].filled(2)
    rows, cols = coarse.shape
    if rows < 2 or cols < 2:
        return
    x = transform.c + transform.a * (step // 2 + 0.5 + step * np.arange(cols))
    y = transform.f + transform.e * (step // 2 + 0.5 + step * np.arange(rows))
    for level, hatch in enumerate(_RATE_HATCHES):
        inside = (coarse == level).astype(float)
        if hatch and inside.any():
            axes.contourf(x, y, inside, levels=[0.5, 2], colors="none", hatches=[hatch], zorder=2)


def _number(axes: Axes, result: AuditResult) -> None:
    """Number the skips; of numbers that would lie on one another only the first is set."""
    frame = stops(result)
    places = axes.transData.transform(frame[["x_m", "y_m"]].to_numpy(float))
    taken = np.empty((0, 2))
    for stop, place in zip(frame.itertuples(), places, strict=True):
        if len(taken) and np.hypot(*(taken - place).T).min() < _CLEAR_PIXELS:
            continue
        taken = np.vstack([taken, place])
        axes.annotate(
            str(stop.skip),
            xy=(stop.x_m, stop.y_m),
            xytext=(9, 9),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=8 if stop.skip < 100 else 6.5,
            fontweight="bold",
            color="white",
            bbox={"boxstyle": "circle,pad=0.22", "facecolor": sheet.SKIP, "edgecolor": "white"},
            arrowprops={"arrowstyle": "-", "color": sheet.SKIP, "linewidth": 1.0},
            zorder=7,
        )
