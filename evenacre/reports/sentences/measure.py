"""What logs tell of a drill, in plain words for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from evenacre.coverage.measure.settings import Evidence
from evenacre.io.common.findings import counted
from evenacre.model.measured import Measured
from evenacre.reports.sentences.findings import WHY_NOT
from evenacre.units.display import DisplayUnit, UnitSystem

_LABEL = 22
LABELS = {
    "behind": "tool behind antenna",
    "left": "antenna left of middle",
    "lag": "delay",
    "width": "spacing of passes",
}
_KEYS = {
    "behind": "antenna_ahead, tow and tool_behind",
    "left": "antenna_left",
    "lag": "delay",
    "width": "width",
}
_SECONDS = DisplayUnit("s", 1.0)
_SMALL_M = 1.0  # shorter lengths are told in inches or centimetres


@dataclass(frozen=True)
class MeasureReport:
    """What is told of one operation."""

    field: str
    operation: str
    evidence: Evidence


def measure_lines(report: MeasureReport, units: UnitSystem) -> Iterator[str]:
    """Say each figure of the drill, how it was found, and what to do about it."""
    measured = report.evidence.measured
    found = sum(m.value is not None for m in measured)
    yield (
        f"{report.field}, {report.operation}: the log tells {found} of {len(measured)} figures of "
        "the drill."
    )
    for one in measured:
        yield f"  {LABELS[one.setting]:<{_LABEL}} {_figure(one, units)}"
        if remark := _remark(one, units):
            yield f"  {'':<{_LABEL}} {remark}"


def amount(value: float, one: Measured, units: UnitSystem, digits: int = 3) -> str:
    """Write a value of a setting in the reader's units."""
    if one.unit == "s":
        return f"{value:.1f} s"
    if one.setting == "left" and abs(value) < _SMALL_M:
        return f"{value / 0.0254:.1f} in" if units.name == "us" else f"{100 * value:.1f} cm"
    return units.length.text(value, digits)


def _figure(one: Measured, units: UnitSystem) -> str:
    if one.value is None or one.sigma is None:
        return f"the log cannot tell: {WHY_NOT[one.why_not]}"
    places = counted(one.places, "seam" if one.how == "seams" else "pass end")
    text = f"{amount(one.value, one, units)} ± {amount(one.sigma, one, units, 1)} ({places}"
    if one.how != "seams" and one.speed_mps is not None:
        text += f" at {units.speed.text(one.speed_mps, 2)}"
    return f"{text})"


def _remark(one: Measured, units: UnitSystem) -> str:
    """What goes with a figure: what the season says, and what to measure."""
    parts = []
    if one.how == "together" and one.setting == "behind" and one.speed_mps is not None:
        each = units.length.text(one.speed_mps, 2)
        parts.append(f"with no delay; each second of delay puts the tool {each} further behind")
    elif one.how == "together":
        parts.append("with the tool at the antenna; further behind it is a longer delay")
    elif one.how == "told_behind":
        parts.append("with the tool as far behind as the season says")
    elif one.value is None and one.together_m is not None and one.setting == "behind":
        speed = units.speed.text(one.speed_mps or 0.0, 2)
        together = units.length.text(one.together_m)
        parts.append(f"tool and delay together look like {together} behind at {speed}")
    elif one.setting == "width" and one.value is not None:
        parts.append("the tool's width where passes lie edge to edge")
    if one.told is not None:
        parts.append(f"the season says {amount(one.told, one, units)}")
        if one.disagrees:
            parts[-1] += ": measure it again"
    elif one.used:
        parts.append(f"the season says nothing; confirm it and write {_KEYS[one.setting]}")
    return "; ".join(parts)
