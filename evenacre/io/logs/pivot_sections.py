"""Logs in long form, one record a section or row, as one record a fix."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa

from evenacre.io.common.arrow_arrays import coded
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.column_roles import ColumnPlan, ColumnUse
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.model import FloatArray, IntArray

_NUMBERS = re.compile(r"^(section|sect|sec|boom|row|opener|tower)(_(id|no|nr|num|number|index))?$")
_STATES = re.compile(r"^(state|status|on|on_off|active|switch)$")
_KEYS = ("time", "date", "start", "lon", "lat", "x", "y", "machine")
_MOST = 1000
# A width in long form is that of a section; the sections' own widths come from the drill.
_SPENT = ("section_number", "row_number", "sections", "rows", "width")


@dataclass(frozen=True)
class _Fixes:
    """Records that belong to one fix."""

    of: IntArray  # (n,) fix of each record
    first: IntArray  # (f,) first record of each fix


def widen(
    table: RecordTable, plan: ColumnPlan, findings: Findings
) -> tuple[RecordTable, ColumnPlan]:
    """Gather the records of each fix, so that every section has a column of its own.

    A log that is not in long form comes back as it is.

    Parameters
    ----------
    plan : ColumnPlan
        May name a ``section_number`` or ``row_number`` column; one is guessed when it does not.

    Raises
    ------
    InputError
        When the person named the column, and it holds no numbers or each fix has one record.
    """
    use = _numbered(table, plan)
    if use is None:
        return table, plan
    fixes = _fixes(table, plan)
    numbers = _whole_numbers(table, use)
    together = len(table) / len(fixes.first) >= 1.5  # a record's own number is never shared
    if numbers is None or not together:
        if not use.asked:
            return table, plan
        what = "no two records share a time and place"
        if numbers is None:
            what = f"it holds other things than numbers from 0 or 1 to {_MOST:,}"
        raise table.error(
            f'column "{use.column}"',
            f"{what}, so it does not number the {_role(use)}s of a fix.",
            f"Leave out --column {use.role}, or name another column.",
        )
    role, count = _role(use), int(numbers.max())
    state = _state_column(table, plan, use)
    findings.note(
        f"{table.about(use.column)} taken as the number of the {role} "
        f"{'as asked' if use.asked else 'because of its name'}; the {count} {role}s of a fix are "
        "put together from its records, "
        + (f'with their states from column "{state}".' if state else "those listed being on.")
    )
    rows = np.full((len(fixes.first), count), -1)
    rows[fixes.of[::-1], numbers[::-1] - 1] = np.arange(len(table))[::-1]
    spent = [use.column] + ([state] if state else [])
    data = table.data.take(pa.array(fixes.first)).drop_columns(spent)
    uses = [u for u in plan.uses if u.role in _KEYS or u.role not in _SPENT]
    uses = [u for u in uses if u.column not in spent]
    for amount in uses:
        if amount.role in ("rate", "flow"):
            data = _gathered(table, data, amount, fixes, findings)
    for number in range(1, count + 1):
        name, own = f"{state or use.column} of {role} {number}", rows[:, number - 1]
        listed = pa.array(np.where(own >= 0, "1", "0"))
        cells = table.text(state).take(pa.array(own, mask=own < 0)) if state else listed
        data = data.append_column(name, cells)
        uses.append(ColumnUse(role, str(number), name, None, use.asked))
    first = fixes.first
    wide = replace(table, data=data, place=lambda row: table.place(int(first[row])))
    return wide, ColumnPlan(tuple(uses))


def _role(use: ColumnUse) -> str:
    return use.role.removesuffix("_number")


def _numbered(table: RecordTable, plan: ColumnPlan) -> ColumnUse | None:
    """Column that tells the section of each record."""
    asked = plan.get("section_number") or plan.get("row_number")
    if asked is not None or plan.all("section") or plan.all("row"):
        return asked
    taken = {use.column for use in plan.uses if use.role not in ("sections", "rows")}
    for name in table.names:
        match = _NUMBERS.match(read_header(name).spellings[0])
        if match and name not in taken and table.holds_numbers(name):
            role = "row_number" if match[1] in ("row", "opener") else "section_number"
            return ColumnUse(role, "", name, None, asked=False)
    return None


def _state_column(table: RecordTable, plan: ColumnPlan, number: ColumnUse) -> str | None:
    """Column with the state of the record's section; None: to be listed is to be on."""
    own = plan.get("sections") or plan.get("rows")
    if own is not None and own.column != number.column:
        return own.column
    taken = {use.column for use in plan.uses} | {number.column}
    for name in table.names:
        if name not in taken and _STATES.match(read_header(name).spellings[0]):
            return name
    work = plan.get("work")
    return work.column if work else None


def _fixes(table: RecordTable, plan: ColumnPlan) -> _Fixes:
    """Fixes in order of their first record."""
    names = {use.column for use in plan.uses if use.role in _KEYS}
    # Without any of these columns all records are of one fix.
    one = np.zeros(len(table), dtype=np.int64)
    codes = [one, *(coded(table.text(name))[0] for name in names)]
    of = pd.Series(one).groupby(codes, sort=False).ngroup()
    return _Fixes(np.asarray(of, dtype=np.int64), np.flatnonzero(~of.duplicated()))


def _whole_numbers(table: RecordTable, use: ColumnUse) -> IntArray | None:
    """Numbers from 1 at the left; None when they are no such numbers."""
    if not table.holds_numbers(use.column):
        return None
    numbers = table.numbers(use.column, use.role, Findings())
    if not (np.isfinite(numbers).all() and (numbers == np.rint(numbers)).all()):
        return None
    low, high = numbers.min(), numbers.max()
    if low not in (0, 1) or not 2 <= high + 1 - low <= _MOST:
        return None
    return np.asarray(numbers + 1 - low, dtype=np.int64)


def _gathered(
    table: RecordTable, data: pa.Table, use: ColumnUse, fixes: _Fixes, findings: Findings
) -> pa.Table:
    """Put the amounts of a fix's records into one where each section has its own."""
    values = table.numbers(use.column, use.role, findings)
    if np.array_equal(values, values[fixes.first][fixes.of], equal_nan=True):
        return data
    number = len(fixes.first)
    filled = np.nan_to_num(values)
    whole: FloatArray = np.bincount(fixes.of, weights=filled, minlength=number).astype(float)
    how = "sum"
    if use.role == "rate":
        how = "mean of those that put some out"
        some = np.bincount(fixes.of[filled > 0], minlength=number)
        whole = whole / np.maximum(some, 1)
    findings.note(f"{table.about(use.column)} differs within a fix; its {use.role} is the {how}.")
    return data.set_column(data.column_names.index(use.column), use.column, pa.array(whole))
