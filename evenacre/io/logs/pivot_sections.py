"""Logs in long form, one record a section or row, as one record a fix."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
import pyarrow as pa

from evenacre.io.common.arrow_arrays import coded
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.column_roles import AMOUNTS, ColumnPlan, ColumnUse
from evenacre.io.logs.section_points import (
    SectionPoints,
    find_section_points,
    section_widths_m,
)
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray, IntArray

_NUMBERS = re.compile(r"^(section|sect|sec|boom|row|opener|tower)(_(id|no|nr|num|number|index))?$")
_STATES = re.compile(r"^(state|status|on|on_off|active|switch)$")
_KEYS = ("time", "date", "start", "lon", "lat", "x", "y", "machine")
_WHEN = ("time", "date", "start", "machine")
_MOST = 1000
# A width in long form is that of a section; the sections' own widths come from the drill.
_SPENT = ("section_number", "row_number", "sections", "rows", "width")
# A logged width is that of the section if it fits the spacing of the points so well.
_FITS = 0.25


@dataclass(frozen=True)
class Records:
    """A table of n records with their times and places.

    Attributes
    ----------
    section_widths_m : (s,) float or None
        Where the places are those of the tool itself, told by points at its sections.
    section_rates : dict of str to (n, s) float
        Rates of the sections in SI by product, where they have their own.
    section : (n,) int or None
        The section each record is of, where sections go ways of their own.
    """

    table: RecordTable
    plan: ColumnPlan
    clock: Clock
    lon: FloatArray
    lat: FloatArray
    section_widths_m: FloatArray | None = None
    section_rates: dict[str, FloatArray] = field(default_factory=dict)
    section: IntArray | None = None


@dataclass(frozen=True)
class _Fixes:
    """Records that belong to one fix."""

    of: IntArray  # (n,) fix of each record, -1 of none
    first: IntArray  # (f,) first record of each fix

    def __len__(self) -> int:
        return len(self.first)

    def laid_out(self, place: IntArray, count: int) -> IntArray:
        """Record of each fix and place, (f, count); -1 where there is none."""
        rows = np.full((len(self), count), -1)
        known = np.flatnonzero(self.of >= 0)[::-1]
        rows[self.of[known], place[known]] = known
        return rows


def gather_sections(records: Records, machine: IntArray, findings: Findings) -> Records:
    """Gather the records of each fix, so that every section has a column of its own.

    Records of one fix share their place, which is the antenna's, or each stands at its own
    section. A log that is not in long form comes back as it is.

    Parameters
    ----------
    records : Records
        Its plan may name a ``section_number`` or ``row_number`` column; one is guessed when it
        does not.
    machine : (n,) int
        Records of different machines never share a fix.

    Raises
    ------
    InputError
        When the person named the column, and it holds no numbers or each fix has one record.
    """
    table, plan = records.table, records.plan
    use = _numbered(table, plan)
    numbers = None
    if use is not None:
        numbers = _whole_numbers(table, use)
        fixes = _fixes(records)
        # A record's own number is never shared.
        if numbers is not None and len(table) / len(fixes) >= 1.5:
            count = int(numbers.max()) + 1
            state = _state_column(table, plan, use)
            findings.note(
                tr(
                    "{named}; the {count} {role}s of a fix are put together from its "
                    "records, {told}.",
                    named=_named(table, use),
                    count=count,
                    role=_role(use),
                    told=_told(state),
                )
            )
            return _widened(records, fixes, fixes.laid_out(numbers, count), use, state, findings)
    elif any(plan.get(role) for role in ("section", "row", "sections", "rows")):
        return records
    points = find_section_points(records.clock.time_s, records.lon, records.lat, numbers, machine)
    if points is not None:
        return _gathered_points(records, points, use, findings)
    if use is not None and use.asked:
        what = tr("no two records share a time and place")
        if numbers is None:
            what = tr("it holds other things than numbers from 0 or 1 to {most:,}", most=_MOST)
        raise table.error(
            tr('column "{column}"', column=use.column),
            tr("{what}, so it does not number the {role}s of a fix.", what=what, role=_role(use)),
            tr("Leave out --column {role}, or name another column.", role=use.role),
        )
    return records


def _gathered_points(
    records: Records, points: SectionPoints, use: ColumnUse | None, findings: Findings
) -> Records:
    """Gather records that stand at their sections into fixes of the whole tool."""
    table = records.table
    state = _state_column(table, records.plan, use)
    width_m = _section_widths_m(records, points, findings)
    noun = "section" if use is None else _role(use)
    said = f"{table.file}: " if use is None else f"{_named(table, use)}; "
    said += trn(
        "{count:,} time has records side by side across the way, taken as the {parts} {noun}s of "
        "one tool {width:.2f} m wide, ",
        "{count:,} times have records side by side across the way, taken as the {parts} {noun}s of "
        "one tool {width:.2f} m wide, ",
        len(points.time_s),
        parts=len(width_m),
        noun=noun,
        width=width_m.sum(),
    )
    if not points.rigid:
        findings.warn(
            tr(
                "{file}: the {noun}s do not keep their places in the tool from record to "
                "record, so each is followed by itself.",
                file=table.file,
                noun=noun,
            )
        )
        return replace(records, section_widths_m=width_m, section=points.section)
    findings.note(tr("{said}each at its own place, {told}.", said=said, told=_told(state)))
    first = np.full(len(points.time_s), -1)
    known = np.flatnonzero(points.fix >= 0)[::-1]
    first[points.fix[known]] = known
    fixes = _Fixes(points.fix, first)
    rows = fixes.laid_out(points.section, len(width_m))
    use = use or ColumnUse("section_number", "", "", None, asked=False)
    lost = int((points.fix < 0).sum())
    if lost:
        findings.warn(
            tr(
                "{file}: left out {records} that repeat another one or lack a time or place.",
                file=table.file,
                records=trn("{count:,} record", "{count:,} records", lost),
            )
        )
    wide = _widened(records, fixes, rows, use, state, findings, width_m)
    clock = replace(records.clock, time_s=points.time_s)
    return replace(wide, clock=clock, lon=points.lon, lat=points.lat)


def _named(table: RecordTable, use: ColumnUse) -> str:
    why = tr("as asked") if use.asked else tr("because of its name")
    return f"{table.about(use.column)} taken as the number of the {_role(use)} {why}"


def _told(state: str | None) -> str:
    return f'with their states from column "{state}"' if state else "those listed being on"


def _section_widths_m(records: Records, points: SectionPoints, findings: Findings) -> FloatArray:
    """Widths as logged where they fit the spacing of the points, else from the spacing."""
    spaced = section_widths_m(points.spacing_m)
    use = records.plan.get("width")
    if use is None or use.unit is None:
        return spaced
    known = points.fix >= 0
    logged = records.table.numbers(use.column, use.role, Findings()) * use.unit
    some = pd.Series(np.where(known & (logged > 0), logged, np.nan)).groupby(points.section)
    own = some.median().reindex(np.arange(len(spaced))).to_numpy(dtype=float)
    fits = np.abs(own / spaced - 1) < _FITS
    if fits.all():  # which settles its unit too
        guess = tr("{about} has no unit; ", about=records.table.about(use.column))
        findings.warnings[:] = [text for text in findings.warnings if not text.startswith(guess)]
    return np.where(fits, own, spaced) if fits.all() else spaced


def _widened(
    records: Records,
    fixes: _Fixes,
    rows: IntArray,
    use: ColumnUse,
    state: str | None,
    findings: Findings,
    width_m: FloatArray | None = None,
) -> Records:
    """One record a fix, its sections side by side: ``rows`` has the record of each, (f, s)."""
    table, role, first = records.table, _role(use), fixes.first
    spent = {use.column, state} - {"", None}
    uses = [u for u in records.plan.uses if u.role in _KEYS or u.role not in _SPENT]
    uses = [u for u in uses if u.column not in spent]
    data = table.data.take(pa.array(first))
    listed = rows >= 0
    rates = {}
    for amount in uses:
        if amount.role in AMOUNTS:
            values = table.numbers(amount.column, amount.role, findings)
            data = _gathered(table, data, amount, values, rows, width_m, findings)
            own = _at(values, rows)
            if width_m is not None and amount.role == "rate" and _differ(own, rows).any():
                rates[amount.key] = own * (amount.unit or 1.0)
    if width_m is not None and state is None:
        listed &= _putting_out(records, rows)
    data = data.drop_columns([name for name in data.column_names if name in spent])
    for number, (own, on) in enumerate(zip(rows.T, listed.T, strict=True), start=1):
        name = f"{state or use.column} of {role} {number}".strip()
        cells = pa.array(np.where(on, "1", "0"))
        if state:
            cells = table.text(state).take(pa.array(own, mask=own < 0))
        data = data.append_column(name, cells)
        uses.append(ColumnUse(role, str(number), name, None, use.asked))
    clock = replace(records.clock, time_s=records.clock.time_s[first])
    wide = replace(table, data=data, place=lambda row: table.place(int(first[row])))
    plan = ColumnPlan(tuple(uses))
    lon, lat = records.lon[first], records.lat[first]
    return Records(wide, plan, clock, lon, lat, width_m, rates)


def _at(values: FloatArray, rows: IntArray) -> FloatArray:
    """Values of the records laid out; 0 where there is none."""
    return np.where(rows >= 0, np.nan_to_num(values)[rows], 0.0)


def _differ(own: FloatArray, rows: IntArray) -> BoolArray:
    """Fixes whose sections do not all have the same value."""
    listed = rows >= 0
    one = own[np.arange(len(own)), listed.argmax(axis=1)]
    return np.asarray((listed & (own != one[:, None])).any(axis=1))


def _putting_out(records: Records, rows: IntArray) -> BoolArray:
    """Sections that put something out by their amount or width; all where none says otherwise."""
    on = np.ones(rows.shape, dtype=bool)
    amounts = [u for u in records.plan.uses if u.role in AMOUNTS]
    logged = [records.table.numbers(u.column, u.role, Findings()) for u in amounts]
    if logged:
        some = np.logical_or.reduce([_at(values, rows) > 0 for values in logged])
        on &= some if some.any() else True
    if width := records.plan.get("width"):
        wide = _at(records.table.numbers(width.column, width.role, Findings()), rows) > 0
        on &= wide if wide.any() else True
    return on


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


def _state_column(table: RecordTable, plan: ColumnPlan, number: ColumnUse | None) -> str | None:
    """Column with the state of the record's section; None: to be listed is to be on."""
    spent = {number.column} if number else set()
    own = plan.get("sections") or plan.get("rows")
    if own is not None and own.column not in spent:
        return own.column
    taken = {use.column for use in plan.uses} | spent
    for name in table.names:
        if name not in taken and _STATES.match(read_header(name).spellings[0]):
            return name
    work = plan.get("work")
    return work.column if work else None


def _fixes(records: Records) -> _Fixes:
    """Records of one time and place, in order of the first of each."""
    names = {use.column for use in records.plan.uses if use.role in _WHEN}
    places = [pd.factorize(degrees)[0] for degrees in (records.lon, records.lat)]
    codes = [*places, *(coded(records.table.text(name))[0] for name in names)]
    of = pd.Series(places[0]).groupby(codes, sort=False).ngroup()
    return _Fixes(np.asarray(of, dtype=np.int64), np.flatnonzero(~of.duplicated()))


def _whole_numbers(table: RecordTable, use: ColumnUse) -> IntArray | None:
    """Numbers from 0; None when they are no such numbers."""
    if not table.holds_numbers(use.column):
        return None
    numbers = table.numbers(use.column, use.role, Findings())
    if not (np.isfinite(numbers).all() and (numbers == np.rint(numbers)).all()):
        return None
    low, high = numbers.min(), numbers.max()
    if low not in (0, 1) or not 2 <= high + 1 - low <= _MOST:
        return None
    return np.asarray(numbers - low, dtype=np.int64)


def _gathered(
    table: RecordTable,
    data: pa.Table,
    use: ColumnUse,
    values: FloatArray,
    rows: IntArray,
    width_m: FloatArray | None,
    findings: Findings,
) -> pa.Table:
    """Put the amounts of a fix's records into one where each section has its own."""
    own = _at(values, rows)
    if not _differ(own, rows).any():
        if use.role != "rate":
            findings.note(
                tr(
                    "{about} is the same in all records of a fix; it is taken as the {role} "
                    "of the whole tool.",
                    about=table.about(use.column),
                    role=use.role,
                )
            )
        return data
    how = "sum"
    whole: FloatArray = own.sum(axis=1)
    if use.role == "rate":
        how = "mean of those that put some out"
        some = (own > 0) * (np.ones(rows.shape[1]) if width_m is None else width_m)
        whole = (own * some).sum(axis=1)
        whole = np.divide(whole, some.sum(axis=1), out=whole, where=some.any(axis=1))
    findings.note(
        tr(
            "{about} differs within a fix; its {role} is the {how}.",
            about=table.about(use.column),
            role=use.role,
            how=how,
        )
    )
    return data.set_column(data.column_names.index(use.column), use.column, pa.array(whole))
