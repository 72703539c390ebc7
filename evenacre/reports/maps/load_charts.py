"""The half-way check as a chart: what is left of the product against ground left."""

from __future__ import annotations

import textwrap
from typing import Any

from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from evenacre.io.writers.file_names import unique_slugs
from evenacre.planning.loads.stock_balance import HalfwayCheck, OperationLoads
from evenacre.reports.maps import sheet
from evenacre.units.display import UnitSystem

_INCHES = (6.0, 4.8)  # small, so that its words can be read on a phone
_DPI = 130
_MARKS = {
    "even": ("o", sheet.BOUNDARY),
    "too much left": ("^", sheet.MORE),
    "too little left": ("v", sheet.SKIP),
}


def halfway_charts(book: OperationLoads, units: UnitSystem) -> dict[str, bytes]:
    """Draw every half-way check of an operation: ``"halfway_<product>"`` to PNG, in order."""
    names = unique_slugs(check.product for check in book.halfway)
    return {
        f"halfway_{name}": halfway_chart(check, units, title=f"{book.field}, {book.operation}")
        for check, name in zip(book.halfway, names, strict=True)
    }


def halfway_chart(check: HalfwayCheck, units: UnitSystem, *, title: str = "") -> bytes:
    """Draw the line on which product and ground end together, its band and the weighings: PNG."""
    area, mass = units.area, units.mass
    with rc_context({**sheet.STYLE, "font.size": 11}):
        figure = Figure(figsize=_INCHES, dpi=_DPI)
        axes = figure.add_axes((0.15, 0.26, 0.8, 0.57))
        made = sheet.Sheet(figure, axes)
        product = textwrap.shorten(check.product, 40, placeholder=" ...")
        for text, y, points in (
            (f"{product} left, by ground left", 0.975, 13), (title, 0.915, 11),
        ):  # fmt: skip
            short = textwrap.shorten(text, 60, placeholder=" ...")
            figure.text(0.02, y, short, fontsize=points, va="top")
        x = [area.of(v) for v in check.area_left_m2]
        low, even, high = (
            [mass.of(v) for v in values] for values in (check.low_kg, check.even_kg, check.high_kg)
        )
        axes.fill_between(x, low, high, facecolor=sheet.ONCE, linewidth=0)
        made.plot(x, even, "comes out even", color=sheet.HEADLAND, linewidth=1.6)
        band = f"within {100 * check.tolerance:g} % and the scale's error"
        made.legend.append(Patch(facecolor=sheet.ONCE, label=band))
        if len(check.meter_left_m2):
            metered = check.meter_left_m2 * area.per_si, check.meter_left_kg * mass.per_si
            style: dict[str, Any] = {"color": sheet.OUTSIDE, "linestyle": "--", "linewidth": 1.3}
            made.plot(*metered, "by the meter's log", **style)
        _weighings(made, check, units)
        half = area.of(check.area_m2) / 2
        axes.axvline(half, color=sheet.NOTHING, linewidth=1.0, linestyle=":", zorder=0)
        axes.annotate(
            "half", xy=(half, 1), xycoords=("data", "axes fraction"), xytext=(3, -4),
            textcoords="offset points", va="top", color=sheet.OUTSIDE,
        )  # fmt: skip
        axes.set_xlim(area.of(check.area_m2), 0)
        axes.set_ylim(bottom=0)
        axes.set_xlabel(f"ground left to drive [{area.label}]")
        axes.set_ylabel(f"product left [{mass.label}]")
        axes.yaxis.set_major_formatter(lambda value, _position: f"{value:,.0f}")
        axes.spines[["top", "right"]].set_visible(False)
        return made.png(2)


def _weighings(made: sheet.Sheet, check: HalfwayCheck, units: UnitSystem) -> None:
    """Mark each weighing by its verdict: shape and colour both tell it."""
    for verdict, (marker, colour) in _MARKS.items():
        chosen = [w for w in check.weighings if w.verdict == verdict]
        if not chosen:
            continue
        style: dict[str, Any] = {
            "marker": marker, "color": colour, "linestyle": "none", "markersize": 9,
            "markeredgecolor": "white",
        }  # fmt: skip
        made.axes.errorbar(
            [units.area.of(w.area_left_m2) for w in chosen],
            [units.mass.of(w.left_kg) for w in chosen],
            yerr=[2 * units.mass.of(w.sigma_kg) for w in chosen],
            ecolor=colour, capsize=3, zorder=5, clip_on=False, **style,
        )  # fmt: skip
        made.legend.append(Line2D([], [], label=f"weighed: {verdict}", **style))
