"""The unit of a logged width that names none, told by how wide tools are."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from evenacre.io.common.findings import Findings
from evenacre.io.tables.headers import Header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr
from evenacre.units.parsing import Dimension, unit_factor

_TOOLS_M = (1.2, 50.0)
_SHARE = 0.01  # of the records that a width must hold for to be that of the tool
_UNITS = {"ft": "us", "in": "us", "m": "metric", "cm": "metric", "mm": "metric"}
_METRIC = ("1", "277777777778")  # digits of powers of ten, and of those by the hour
_DIMENSIONS = (
    *(Dimension.LENGTH, Dimension.SPEED, Dimension.MASS_PER_AREA, Dimension.MASS_PER_TIME),
    *(Dimension.MASS, Dimension.AREA),
)


def width_units(table: RecordTable, column: str) -> tuple[float, list[str]]:
    """Largest width held for long, and the units in which a tool may be so wide."""
    if not table.holds_numbers(column):
        return 0.0, []
    values = table.numbers(column, "width", Findings())
    widths, counts = np.unique(values[values > 0], return_counts=True)
    held = widths[counts >= _SHARE * counts.sum()]
    if not held.size:
        return 0.0, []
    widest, (least, most) = float(held.max()), _TOOLS_M
    return widest, [u for u in _UNITS if least <= widest * _factor(u) <= most]


def width_unit(
    table: RecordTable, header: Header, headers: Iterable[Header], findings: Findings
) -> float | None:
    """Tell the unit by the values, and by the units of other columns where several would do.

    A swath of 300 to 480 is inches: nobody has one of so many feet or metres, and one in
    centimetres is believed only of a file that is metric in other things.
    """
    widest, units = width_units(table, header.name)
    others = [h for h in headers if h.name != header.name]
    lengths = {unit for unit in units for h in others if h.unit(Dimension.LENGTH) == _factor(unit)}
    system = {_system(h) for h in others} - {""}
    own = [unit for unit in units if {_UNITS[unit]} == system]
    unit = ""
    if len(units) == 1:
        (unit,) = units
    elif len(lengths) == 1:
        (unit,) = lengths
    elif len(own) == 1:
        (unit,) = own
    elif units == ["in", "cm"]:
        unit = "in"
    if not unit:
        return None
    said = tr(
        "{about} has no unit; its widths up to {widest:g} are taken as {unit} "
        "({widest_2:.1f} m), as wide as tools are",
        about=table.about(header.name),
        widest=widest,
        unit=unit,
        widest_2=widest * _factor(unit),
    )
    # Only the units of other columns part feet from metres, and tell centimetres from inches.
    other = {"ft": "m", "m": "ft", "cm": "in"}.get(unit)
    if other in units:
        call = f"--column 'width={header.name} [{other}]'"
        findings.warn(
            tr(
                "{said} and as other columns have it. If it is {other}, give {call}.",
                said=said,
                other=other,
                call=call,
            )
        )
    else:
        findings.note(f"{said}.")
    return _factor(unit)


def _system(header: Header) -> str:
    """Whether a column's unit is metric or not; empty when it has none."""
    for dimension in _DIMENSIONS:
        factor = header.unit(dimension)
        if factor is not None:
            return "metric" if f"{factor:.12g}".strip("0.") in _METRIC else "us"
    return ""


def _factor(unit: str) -> float:
    factor = unit_factor(unit, Dimension.LENGTH)
    assert factor is not None
    return factor
