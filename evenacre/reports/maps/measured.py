"""Why a log tells where a drill is: pass ends before and after, and spacing by direction."""

from __future__ import annotations

import textwrap
import warnings
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from evenacre.coverage.measure.pass_ends import Shift
from evenacre.coverage.measure.seams import Seams
from evenacre.language import mark, tr
from evenacre.reports.maps import sheet
from evenacre.reports.sentences.measure import MeasureReport, amount
from evenacre.reports.writers.raster import few_colours
from evenacre.units.display import UnitSystem

_INCHES = (8.0, 8.4)
_DPI = 130
_SIDES = {-1: mark("left to left"), 1: mark("right to right"), 0: mark("one way")}
_MARKS = {-1: "<", 1: ">", 0: "o"}


def measured_picture(report: MeasureReport, units: UnitSystem) -> bytes:
    """Draw what the log tells of where the tool is, and from what: PNG."""
    evidence = report.evidence
    # Names from files may hold a dollar sign, which is not the start of a formula here.
    with rc_context({"font.size": 11, "text.parse_math": False}):
        figure = Figure(figsize=_INCHES, dpi=_DPI)
        title = tr(
            "{field}, {operation}: what the log tells of the drill",
            field=report.field,
            operation=report.operation,
        )
        short = textwrap.shorten(title, 75, placeholder=" ...")
        figure.text(0.02, 0.985, short, fontsize=13, va="top")
        _ends(figure.add_axes((0.11, 0.60, 0.86, 0.30)), evidence.shift, report, units)
        _spacing(figure.add_axes((0.24, 0.10, 0.73, 0.30)), evidence.seams, report, units)
        return _png(figure)


def _png(figure: Figure) -> bytes:
    canvas: Any = FigureCanvasAgg(figure)
    with warnings.catch_warnings():
        # Letters the font lacks are drawn as boxes; the report itself shows them.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        canvas.draw()
    pixels = np.ascontiguousarray(np.asarray(canvas.buffer_rgba())[..., :3])
    return few_colours(Image.fromarray(pixels), _DPI)


def _ends(axes: Axes, shift: Shift | None, report: MeasureReport, units: UnitSystem) -> None:
    behind = report.evidence.of("behind")
    if shift is None:
        _nothing(axes, tr("Where work went on and off"), tr("the log tells nothing of it"))
        return
    axes.set_title(
        tr(
            "Pass ends beside the line of their neighbours: by the antenna, and with the tool moved"
        ),
        fontsize=11,
        loc="left",
    )
    scale = units.length.per_si
    order = np.argsort(shift.across_m, kind="stable")
    place = np.arange(1, len(order) + 1)
    sign, step = shift.sign[order], shift.step_m[order] * scale
    moved = step - shift.behind_m * scale
    axes.axhline(0.0, color=sheet.BOUNDARY, linewidth=0.8, zorder=1)
    for out, shape, words in ((1, "^", tr("work went off")), (-1, "v", tr("work went on"))):
        mine = sign == out
        axes.plot(
            place[mine],
            (sign * step)[mine],
            shape,
            color=sheet.SKIP,
            markersize=6,
            label=tr("{words}, by the antenna", words=words),
        )
        axes.plot(
            place[mine],
            (sign * moved)[mine],
            shape,
            markerfacecolor="none",
            markeredgecolor=sheet.HEADLAND,
            markersize=7,
            label=tr(
                "{words}, moved by {amount}",
                words=words,
                amount=amount(shift.behind_m, behind, units),
            ),
        )
    axes.set_ylabel(tr("beyond the line [{unit}]", unit=units.length.word))
    axes.set_xlabel(tr("pass ends from one side of the field to the other"))
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=2, frameon=False, fontsize=9)
    axes.grid(axis="y", color=sheet.NOTHING, linewidth=0.4)


def _spacing(axes: Axes, seams: Seams | None, report: MeasureReport, units: UnitSystem) -> None:
    if seams is None or not len(seams.spacing_m):
        _nothing(
            axes,
            tr("Spacing of adjacent passes"),
            tr("the log holds no straight passes side by side"),
        )
        return
    axes.set_title(
        tr("Spacing of adjacent passes, antenna to antenna, by the sides that meet"),
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
    axes.set_yticks(range(len(shown)), [tr(_SIDES[side]) for side in shown])
    axes.set_ylim(-0.6, len(shown) - 0.4)
    told = report.evidence.of("width").told
    if told is not None:
        axes.axvline(told * scale, color=sheet.SKIP, linestyle="--", linewidth=1.3)
        words = tr("width told: {length}", length=units.length.text(told))
        axes.text(
            0.99,
            0.92,
            tr("dashed: {words}", words=words),
            transform=axes.transAxes,
            ha="right",
            fontsize=9,
        )
    axes.set_xlabel(
        tr("spacing [{unit}]; the thick line is the middle one", unit=units.length.word)
    )
    axes.grid(axis="x", color=sheet.NOTHING, linewidth=0.4)


def _nothing(axes: Axes, title: str, words: str) -> None:
    axes.set_title(title, fontsize=11, loc="left")
    axes.set_xticks([])
    axes.set_yticks([])
    axes.text(0.5, 0.5, words, ha="center", va="center", color=sheet.OUTSIDE)
