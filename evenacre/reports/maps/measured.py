"""Why a log tells where a drill is: pass ends before and after, and spacing by direction."""

from __future__ import annotations

import textwrap

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from evenacre.coverage.measure.pass_ends import Shift
from evenacre.coverage.measure.seams import Seams
from evenacre.reports.maps import sheet
from evenacre.reports.sentences.measure import MeasureReport, amount
from evenacre.units.display import UnitSystem

_INCHES = (8.0, 8.4)
_DPI = 130
_SIDES = {-1: "left to left", 1: "right to right", 0: "one way"}
_MARKS = {-1: "<", 1: ">", 0: "o"}


def measured_picture(report: MeasureReport, units: UnitSystem) -> bytes:
    """Draw what the log tells of where the tool is, and from what: PNG."""
    evidence = report.evidence
    with rc_context({**sheet.STYLE, "font.size": 11}):
        figure = Figure(figsize=_INCHES, dpi=_DPI)
        title = f"{report.field}, {report.operation}: what the log tells of the drill"
        short = textwrap.shorten(title, 75, placeholder=" ...")
        figure.text(0.02, 0.985, short, fontsize=13, va="top")
        _ends(figure.add_axes((0.11, 0.60, 0.86, 0.30)), evidence.shift, report, units)
        _spacing(figure.add_axes((0.24, 0.10, 0.73, 0.30)), evidence.seams, report, units)
        return sheet.png(figure)


def _ends(axes: Axes, shift: Shift | None, report: MeasureReport, units: UnitSystem) -> None:
    behind = report.evidence.of("behind")
    if shift is None:
        _nothing(axes, "Where work went on and off", "the log tells nothing of it")
        return
    axes.set_title(
        "Pass ends beside the line of their neighbours: by the antenna, and with the tool moved",
        fontsize=11,
        loc="left",
    )
    scale = units.length.per_si
    order = np.argsort(shift.across_m, kind="stable")
    place = np.arange(1, len(order) + 1)
    sign, step = shift.sign[order], shift.step_m[order] * scale
    moved = step - shift.behind_m * scale
    axes.axhline(0.0, color=sheet.BOUNDARY, linewidth=0.8, zorder=1)
    for out, mark, words in ((1, "^", "work went off"), (-1, "v", "work went on")):
        mine = sign == out
        axes.plot(
            place[mine],
            (sign * step)[mine],
            mark,
            color=sheet.SKIP,
            markersize=6,
            label=f"{words}, by the antenna",
        )
        axes.plot(
            place[mine],
            (sign * moved)[mine],
            mark,
            markerfacecolor="none",
            markeredgecolor=sheet.HEADLAND,
            markersize=7,
            label=f"{words}, moved by {amount(shift.behind_m, behind, units)}",
        )
    axes.set_ylabel(f"beyond the line [{units.length.label}]")
    axes.set_xlabel("pass ends from one side of the field to the other")
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=2, frameon=False, fontsize=9)
    axes.grid(axis="y", color=sheet.NOTHING, linewidth=0.4)


def _spacing(axes: Axes, seams: Seams | None, report: MeasureReport, units: UnitSystem) -> None:
    if seams is None or not len(seams.spacing_m):
        _nothing(
            axes, "Spacing of adjacent passes", "the log holds no straight passes side by side"
        )
        return
    axes.set_title(
        "Spacing of adjacent passes, antenna to antenna, by the sides that meet",
        fontsize=11,
        loc="left",
    )
    scale = units.length.per_si
    shown = [side for side in _SIDES if len(seams.of(side))]
    for row, side in enumerate(shown):
        spacing = seams.of(side) * scale
        spread = np.linspace(-0.25, 0.25, len(spacing)) if len(spacing) > 1 else np.zeros(1)
        axes.plot(spacing, row + spread, _MARKS[side], color=sheet.PASS, markersize=5, alpha=0.8)
        middle = float(np.median(spacing))
        axes.plot([middle, middle], [row - 0.35, row + 0.35], color=sheet.BOUNDARY, linewidth=2)
    axes.set_yticks(range(len(shown)), [_SIDES[side] for side in shown])
    axes.set_ylim(-0.6, len(shown) - 0.4)
    told = report.evidence.of("width").told
    if told is not None:
        axes.axvline(told * scale, color=sheet.SKIP, linestyle="--", linewidth=1.3)
        words = f"width told: {units.length.text(told)}"
        axes.text(0.99, 0.92, f"dashed: {words}", transform=axes.transAxes, ha="right", fontsize=9)
    axes.set_xlabel(f"spacing [{units.length.label}]; the thick line is the middle one")
    axes.grid(axis="x", color=sheet.NOTHING, linewidth=0.4)


def _nothing(axes: Axes, title: str, words: str) -> None:
    axes.set_title(title, fontsize=11, loc="left")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.text(0.5, 0.5, words, ha="center", va="center", color=sheet.OUTSIDE)
