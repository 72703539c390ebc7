"""What logs tell of a drill, in plain words for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from evenacre.coverage.measure.settings import Evidence
from evenacre.language import mark, number, tr, trn
from evenacre.model.measured import Measured
from evenacre.reports.sentences.findings import WHY_NOT
from evenacre.units.display import DisplayUnit, UnitSystem

_LABEL = 22
LABELS = {
    "behind": mark("tool behind antenna"),
    "left": mark("antenna left of middle"),
    "lag": mark("delay"),
    "width": mark("spacing of passes"),
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
    yield tr(
        "{field}, {operation}: the log tells {found} of {count} figures of the drill.",
        field=report.field,
        operation=report.operation,
        found=found,
        count=len(measured),
    )
    for one in measured:
        yield f"  {tr(LABELS[one.setting]):<{_LABEL}} {_figure(one, units)}"
        if remark := _remark(one, units):
            yield f"  {'':<{_LABEL}} {remark}"


def amount(value: float, one: Measured, units: UnitSystem, digits: int = 3) -> str:
    """Write a value of a setting in the reader's units."""
    if one.unit == "s":
        return f"{number(value, '.1f')} s"
    if one.setting == "left" and abs(value) < _SMALL_M:
        if units.name == "us":
            return tr("{inches:.1f} in", inches=value / 0.0254)
        return f"{number(100 * value, '.1f')} cm"
    return units.length.text(value, digits)


def fits(one: Measured, units: UnitSystem) -> str:
    """Name the drill that a log fits, as far as one setting tells it."""
    assert one.value is not None
    assert one.sigma is not None
    shown = f"{amount(abs(one.value), one, units)} ± {amount(one.sigma, one, units, 1)}"
    if one.setting == "behind" and one.value < 0:
        return tr("a tool {shown} ahead of the antenna", shown=shown)
    if one.setting == "left" and one.value < 0:
        return tr("an antenna {shown} right of the middle", shown=shown)
    return {
        "behind": tr("a tool {shown} behind the antenna", shown=shown),
        "left": tr("an antenna {shown} left of the middle", shown=shown),
        "lag": tr("a delay of {shown}", shown=shown),
        "width": tr("passes {shown} apart", shown=shown),
    }[one.setting]


def _figure(one: Measured, units: UnitSystem) -> str:
    if one.value is None or one.sigma is None:
        return tr("the log cannot tell: {why_not}", why_not=tr(WHY_NOT[one.why_not]))
    places = trn("{count:,} pass end", "{count:,} pass ends", one.places)
    if one.how == "seams":
        places = trn("{count:,} seam", "{count:,} seams", one.places)
    text = f"{amount(one.value, one, units)} ± {amount(one.sigma, one, units, 1)} ({places}"
    if one.how != "seams" and one.speed_mps is not None:
        text += tr(" at {speed}", speed=units.speed.text(one.speed_mps, 2))
    return f"{text})"


def _remark(one: Measured, units: UnitSystem) -> str:
    """What goes with a figure: what the season says, and what to measure."""
    parts = []
    if one.how == "together" and one.setting == "behind" and one.speed_mps is not None:
        each = units.length.text(one.speed_mps, 2)
        parts.append(
            tr("with no delay; each second of delay puts the tool {each} further behind", each=each)
        )
    elif one.how == "together":
        parts.append(tr("with the tool at the antenna; further behind it is a longer delay"))
    elif one.how == "told_behind":
        parts.append(tr("with the tool as far behind as the season says"))
    elif one.value is None and one.together_m is not None and one.setting == "behind":
        speed = units.speed.text(one.speed_mps or 0.0, 2)
        together = units.length.text(one.together_m)
        parts.append(
            tr(
                "tool and delay together look like {together} behind at {speed}",
                together=together,
                speed=speed,
            )
        )
    elif one.setting == "width" and one.value is not None:
        parts.append(tr("the tool's width where passes lie edge to edge"))
    if one.told is not None:
        parts.append(tr("the season says {amount}", amount=amount(one.told, one, units)))
        if one.disagrees:
            parts[-1] += tr(": measure it again")
    elif one.used:
        parts.append(
            tr("the season says nothing; confirm it and write {keys}", keys=_KEYS[one.setting])
        )
    return "; ".join(parts)
