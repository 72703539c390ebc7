"""Measured columns of a log in SI units: width, distance, speed, rates and the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings, counted
from evenacre.io.logs.columns.column_roles import DIMENSIONS, ColumnPlan, ColumnUse, example_unit
from evenacre.io.logs.columns.records_table import RecordTable
from evenacre.model import UNDATED_S, FloatArray
from evenacre.units.parsing import unit_factor

_SETTLED_WITHIN = 0.05
_AGREEING_RATES = 0.02
_WIDEST_M = 100.0
# Far beyond any drill (m/s, m, s, kg/m2 and kg/s), and too little to be anything at all.
_MOST = {"speed": 1e3, "distance": 1e6, "interval": UNDATED_S, "rate": 50.0, "flow": 1e3}
_NOTHING = 1e-15
# Units told apart by holding the log against its own positions.
_CANDIDATES = {
    "distance": ("m", "ft", "in", "cm", "mm"),
    "speed": ("m/s", "mph", "km/h", "kn", "ft/s"),
}
Paces = tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class Measures:
    """Columns of n records as in ``Track``; None or absent where not logged."""

    width_m: FloatArray | None
    distance_m: FloatArray | None
    interval_s: FloatArray | None
    speed_mps: FloatArray | None
    heading_rad: FloatArray | None
    rates: dict[str, FloatArray]
    flows: dict[str, FloatArray]


def read_measures(
    table: RecordTable, plan: ColumnPlan, paces: Paces, findings: Findings
) -> Measures:
    """Read every measured column.

    Parameters
    ----------
    table, plan : RecordTable, ColumnPlan
    paces : ((n,), (n,)) float
        Step (m) and time (s) of each record since the last, from positions and times; they
        settle the units of distance and speed that have none.
    findings : Findings

    Raises
    ------
    InputError
        When a column the person named has no unit and none can be told.
    """
    return Measures(
        width_m=_width(table, plan, paces, findings),
        distance_m=_distance(table, plan, paces, findings),
        interval_s=_plain(table, plan, "interval", paces, findings),
        speed_mps=_plain(table, plan, "speed", paces, findings),
        heading_rad=_heading(table, plan, findings),
        rates=_amounts(table, plan, "rate", paces, findings),
        flows=_amounts(table, plan, "flow", paces, findings),
    )


def read_lengths(
    table: RecordTable, plan: ColumnPlan, findings: Findings
) -> tuple[FloatArray | None, FloatArray | None]:
    """Width and distance columns alone (m), for records whose order is not yet known.

    Raises
    ------
    InputError
        When a column the person named has no unit.
    """
    unknown = np.full(len(table), np.nan)
    paces = (unknown, unknown)
    return _width(table, plan, paces, findings), _plain(table, plan, "distance", paces, findings)


def _plain(
    table: RecordTable, plan: ColumnPlan, role: str, paces: Paces, findings: Findings
) -> FloatArray | None:
    use = plan.get(role)
    values = None if use is None else _si(table, use, paces, findings)
    if use is None or values is None:
        return None
    return _possible(values, table, use, findings)


def _si(table: RecordTable, use: ColumnUse, paces: Paces, findings: Findings) -> FloatArray | None:
    """Values in SI; None for a guessed column that cannot be used."""
    if not use.asked and use.role in ("speed", "distance", "interval", "heading"):
        try:
            values = table.numbers(use.column, use.meaning, findings)
        except InputError as error:
            problem = error.problems[0]
            findings.warn(f"{problem.file}, {problem.place}: {problem.what} It is not used.")
            return None
    else:
        values = table.numbers(use.column, use.meaning, findings)
    unit = use.unit
    if unit is None and use.role == "interval":
        findings.note(f'{table.file}: column "{use.column}" has no unit and is taken as seconds.')
        unit = 1.0
    if unit is None and use.role in _CANDIDATES:
        unit = _settled(table, use, values, paces, findings)
    if unit is not None:
        return values * unit
    dimension = DIMENSIONS[use.role]
    call = f"--column '{use.role}{':' + use.key if use.key else ''}={use.column} "
    call += f"[{example_unit(dimension)}]'"
    if use.asked:
        raise InputError.at(
            table.file,
            f'column "{use.column}"',
            f"the {use.meaning} has no unit, and none can be told from the log.",
            f"Name the column with its unit, such as {call}.",
        )
    findings.warn(
        f'{table.file}: column "{use.column}" looks like a {use.role} but has no unit, so it is '
        f"not used. To use it, give {call}."
    )
    return None


def _settled(
    table: RecordTable, use: ColumnUse, values: FloatArray, paces: Paces, findings: Findings
) -> float | None:
    """Find the unit of a distance or speed by holding it against the positions."""
    step, seconds = paces
    truth = step if use.role == "distance" else step / np.where(seconds > 0, seconds, np.nan)
    ratios = truth / np.where(values > 0, values, np.nan)
    ratios = ratios[np.isfinite(ratios) & (ratios > 0)]
    if len(ratios) < 10:
        return None
    ratio = float(np.median(ratios))
    for name in _CANDIDATES[use.role]:
        factor = unit_factor(name, DIMENSIONS[use.role])
        if factor is not None and abs(ratio / factor - 1) < _SETTLED_WITHIN:
            findings.note(
                f'{table.file}: column "{use.column}" has no unit; it is taken as {use.role} in '
                f"{name} because that fits the positions."
            )
            return factor
    return None


def _possible(
    values: FloatArray, table: RecordTable, use: ColumnUse, findings: Findings
) -> FloatArray:
    """Take what no drill can have done as missing."""
    for wild, what in (
        (values < 0, "below zero"),
        (values > _MOST.get(use.role, np.inf), "too large to be true"),
    ):
        if wild.any():
            findings.warn(
                f'{table.file}: {counted(wild.sum(), "value")} {what} in column "{use.column}" '
                f"({use.meaning}), taken as missing; the first is at "
                f"{table.place(int(np.flatnonzero(wild)[0]))}."
            )
            values = np.where(wild, np.nan, values)
    return np.where(values < _NOTHING, 0.0, values)


def _width(
    table: RecordTable, plan: ColumnPlan, paces: Paces, findings: Findings
) -> FloatArray | None:
    use = plan.get("width")
    values = _plain(table, plan, "width", paces, findings)
    if use is None or values is None:
        return None
    widest = np.nanmax(values, initial=0.0)
    if widest > _WIDEST_M:
        raise InputError.at(
            table.file,
            f'column "{use.column}"',
            f"a swath {widest:,.0f} m wide cannot be right.",
            "Give the right unit, such as "
            f"--column 'width={use.column} [in]', or --column width= to leave it out.",
        )
    return values


def _distance(
    table: RecordTable, plan: ColumnPlan, paces: Paces, findings: Findings
) -> FloatArray | None:
    """Distance since the last record; a running total is turned into steps first."""
    use = plan.get("distance")
    if use is None:
        return None
    values = _si(table, use, paces, findings)
    if values is None:
        return None
    known = values[np.isfinite(values)]
    growing = len(known) >= 30 and (np.diff(known) >= 0).all()
    if growing and len(np.unique(known)) > len(known) / 4:
        findings.note(
            f'{table.file}: column "{use.column}" only grows, so it is taken as a running total '
            "and its differences as the distance of each record."
        )
        return np.diff(values, prepend=values[:1])
    return _possible(values, table, use, findings)


def _heading(table: RecordTable, plan: ColumnPlan, findings: Findings) -> FloatArray | None:
    """Heading clockwise from north, in radians from 0 to 2 pi."""
    use = plan.get("heading")
    if use is None:
        return None
    if not use.asked and not table.holds_numbers(use.column):
        findings.note(f'{table.file}: column "{use.column}" holds no headings in numbers.')
        return None
    values = table.numbers(use.column, "heading", findings)
    if use.unit is None:
        values = np.radians(values)
    return np.asarray(np.mod(values, 2 * np.pi), dtype=float)


def _amounts(
    table: RecordTable, plan: ColumnPlan, role: str, paces: Paces, findings: Findings
) -> dict[str, FloatArray]:
    """Rates or flows by product; a second column of the same one is compared, not added."""
    amounts: dict[str, FloatArray] = {}
    for use in plan.all(role):
        values = _si(table, use, paces, findings)
        if values is None:
            continue
        values = _possible(values, table, use, findings)
        if use.key not in amounts:
            amounts[use.key] = values
            continue
        first = amounts[use.key]
        off = np.abs(values - first) > _AGREEING_RATES * np.maximum(np.abs(first), 1e-12)
        if off.any():
            findings.warn(
                f'{table.file}: column "{use.column}" gives another {role} than the column before '
                f"it in {counted(off.sum(), 'record')}; the first column is used."
            )
        else:
            findings.note(
                f'{table.file}: column "{use.column}" repeats the {role} in another unit.'
            )
    return amounts
