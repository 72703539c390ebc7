"""Tables of fixes to tracks: every column in SI, one track a machine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.geo.geodesy import ShapeArray, step_m
from evenacre.io.common.arrow_arrays import coded
from evenacre.io.common.findings import Findings, one_line
from evenacre.io.common.suggestions import listed
from evenacre.io.logs.columns.clock import Clock, dates_of, read_clock
from evenacre.io.logs.columns.column_roles import NAMED_ROLES, ColumnPlan
from evenacre.io.logs.columns.date_parts import joined_dates
from evenacre.io.logs.columns.fix_columns import logged_quality
from evenacre.io.logs.columns.measures import with_measures
from evenacre.io.logs.columns.receiver_column import receiver_of
from evenacre.io.logs.columns.work_states import ask_for_states, section_states, working_states
from evenacre.io.logs.file_order import order_of_file
from evenacre.io.logs.pivot_sections import Records, gather_sections
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray, IntArray, Track

# What tells something of a drive and nothing of a shape.
_OF_DRIVES = {"distance", "speed", "heading", "time", "date", "start", "end"}
_SHOWN_DATES = 6
_FASTEST_MPS = 25.0
# A day less the hour that summer time takes from it; so many records of one time are no log.
_DAY_S, _MOST_A_DAY = 82800.0, 20


def build_tracks(
    table: RecordTable,
    lon: FloatArray,
    lat: FloatArray,
    plan: ColumnPlan,
    time_zone: str | None,
    findings: Findings,
    *,
    clock: Clock | None = None,
    ground: ShapeArray | None = None,
    receiver: str = "",
) -> list[Track]:
    """Turn a table of n fixes into tracks, one a machine, in order of first appearance.

    Parameters
    ----------
    lon, lat : (n,) float
        WGS 84 degrees, NaN where there is no fix.
    time_zone : str or None
        Zone of times that name none.
    findings : Findings
        Told of guesses and suspicions; they end in every track.
    clock : Clock, optional
        Times that do not come from a column.
    ground : (n,) array of geometry, optional
        What each record covered, where no drive is told.
    receiver : str
        What the file says of it (see ``Track``), beside its columns.
    """
    if clock is None and not plan.tells_times:
        clock, ground = order_of_file(table, lon, lat, findings)
    if clock is None:
        clock = fix_clock(table, plan, time_zone, findings)
        if ground is None and _tells_days_alone(table, clock):
            clock, ground = _order_within_days(table, clock, lon, lat, findings)
    if ground is not None:
        plan = ColumnPlan(tuple(use for use in plan.uses if use.role not in _OF_DRIVES))
    codes, named = _machines(table, plan)
    in_file = dict(zip(named, np.bincount(codes), strict=True))
    records = Records(table, plan, clock, lon, lat)
    if ground is None and not clock.assumed:
        records = gather_sections(records, codes, findings)
    shared = len(records.table) < len(table)
    table, plan, clock = records.table, records.plan, records.clock
    lon, lat = records.lon, records.lat
    ask_for_states(table, plan, findings)
    said, said_in = receiver_of(table, plan, findings)
    _note_unused(table, plan, said_in, findings)
    codes, machines = _machines(table, plan)
    timed = np.isfinite(clock.time_s)
    if not timed.any():
        raise table.error("", tr("no record has a time."), tr("Check the time column."))
    if not timed.all():
        findings.warn(
            tr(
                "{file}: left out {records} without a time.",
                file=table.file,
                records=trn("{count:,} record", "{count:,} records", (~timed).sum()),
            )
        )
    dates = dates_of(clock.time_s, time_zone) if clock.dated else []
    if len(dates) > 1:
        few = listed(dates, _SHOWN_DATES, mark="")
        findings.warn(
            tr(
                "{file}: the log holds {count} dates: {few}.",
                file=table.file,
                count=len(dates),
                few=few,
            )
        )
    main = timed & (codes == np.bincount(codes[timed]).argmax())
    whole = Track(
        table.file,
        clock.time_s,
        lon,
        lat,
        ground=ground,
        timed=not clock.assumed,
        named=_named(table, plan, findings),
        target_kg_per_m2=_target(table, plan, findings),
    )
    paces = _paces(clock.time_s, lon, lat, main)
    whole = with_measures(whole, table, plan, paces, findings)
    sigma_m, dilution = logged_quality(table, plan, findings)
    whole = replace(whole, sigma_m=sigma_m, dilution=dilution, receiver=receiver or said)
    sections, are_rows = section_states(table, plan, findings)
    working = working_states(table, plan, findings)
    whole = replace(whole, working=working, sections=sections, sections_are_rows=are_rows)
    whole = _with_tool(whole, records)
    if len(machines) > 1:
        findings.note(
            tr(
                "{file}: records of {count} machines ({listed}) are kept apart.",
                file=table.file,
                count=len(machines),
                listed=listed(machines, mark=""),
            )
        )
    if records.section is not None:
        count = int(records.section.max()) + 1
        codes = codes * count + records.section
        machines = [f"{m} section {k + 1}".strip() for m in machines for k in range(count)]
    tracks = []
    for code, machine in enumerate(machines):
        all_own = codes == code
        own = timed & all_own
        if own.any():
            name = f"{table.file}, {machine}" if len(machines) > 1 else table.file
            untimed = int((all_own & ~timed).sum())
            left_out = {"without a time": untimed} if untimed else {}
            track = replace(
                whole.part(own),
                source=name,
                machine=machine,
                left_out=left_out,
                in_file=int(in_file[machine]) if shared else 0,
            )
            tracks.append(_finished(track, findings))
    return tracks


def _tells_days_alone(table: RecordTable, clock: Clock) -> bool:
    """Tell whether times are no more than the day; no drive can be put in order by them."""
    times = np.unique(clock.time_s[np.isfinite(clock.time_s)])
    return bool(
        clock.dated and len(table) > _MOST_A_DAY * len(times) and (np.diff(times) >= _DAY_S).all()
    )


def _order_within_days(
    table: RecordTable, clock: Clock, lon: FloatArray, lat: FloatArray, findings: Findings
) -> tuple[Clock, ShapeArray | None]:
    """Take the order of the file where times tell the day alone."""
    try:
        order, ground = order_of_file(table, lon, lat, findings)
    except InputError:
        raise table.error(
            "times",
            tr("they tell the day, but not the time of day."),
            tr("Name the column that holds the time of day with --column time=COLUMN."),
        ) from None
    findings.warn(tr("{file}: its times tell the day, but not the time of day.", file=table.file))
    first_s = float(np.nanmin(clock.time_s))
    return replace(order, time_s=order.time_s + first_s, dated=True), ground


def _with_tool(track: Track, records: Records) -> Track:
    """Add what points at the sections tell of the tool."""
    width = records.section_widths_m
    if width is None:
        return track
    if records.section is not None:
        return replace(track, width_m=width[records.section], at_tool=True)
    return replace(
        track,
        width_m=np.full(len(track), width.sum()),
        at_tool=True,
        section_widths_m=tuple(width.tolist()),
        section_rates=records.section_rates,
    )


def fix_clock(
    table: RecordTable, plan: ColumnPlan, time_zone: str | None, findings: Findings
) -> Clock:
    """Read the times of fixes from their columns; the plan has some that tell them."""
    table, plan = joined_dates(table, plan, findings)
    time, date = plan.get("time"), plan.get("date")
    interval = plan.get("interval")
    if time is None:
        time = plan.get("start") or date
        date = None if time is date else date
    if time is not None:
        return read_clock(table, time, date, time_zone, findings)
    assert interval is not None
    seconds = table.numbers(interval.column, "interval", findings) * (interval.unit or 1.0)
    steps = np.diff(seconds[np.isfinite(seconds)])
    if len(steps) > 1 and (steps > 0).all():
        findings.note(
            tr(
                "{about} grows all the time, so it is taken as the time since the start of "
                "the log.",
                about=table.about(interval.column),
            )
        )
        return Clock(seconds, dated=False)
    findings.note(
        tr(
            '{file}: no time column; times are the sum of column "{column}", and the date is '
            "not known.",
            file=table.file,
            column=interval.column,
        )
    )
    return Clock(np.cumsum(np.nan_to_num(seconds)), dated=False)


def _note_unused(table: RecordTable, plan: ColumnPlan, said_in: str, findings: Findings) -> None:
    """Tell which columns mean nothing here: one of them may have a meaning after all.

    ``said_in`` is the one that tells of the receiver.
    """
    used = {use.column for use in plan.uses} | {said_in}
    names = [one_line(n) for n in table.names if n not in used and not table.is_empty(n)]
    if names:
        noun = "column" if len(names) == 1 else "columns"
        findings.note(
            tr(
                "{file}: {noun} {listed} not used.",
                file=table.file,
                noun=noun,
                listed=listed(names),
            )
        )


def _named(table: RecordTable, plan: ColumnPlan, findings: Findings) -> dict[str, str]:
    """Names that stand in every record, by what they are of."""
    uses = [use for role in NAMED_ROLES if (use := plan.get(role)) is not None]
    named = {use.role: one_line(table.first_text(use.column)) for use in uses}
    if named:
        told = ", ".join(f'{role} "{name}"' for role, name in named.items())
        findings.note(tr("{file}: it names the {told}.", file=table.file, told=told))
    return named


def _target(table: RecordTable, plan: ColumnPlan, findings: Findings) -> float | None:
    """The rate that the log says was wanted."""
    use = plan.get("target")
    if use is None or use.unit is None:
        return None
    findings.note(
        tr("{about} taken as the target rate because of its name.", about=table.about(use.column))
    )
    return float(np.nanmax(table.numbers(use.column, use.role, findings)) * use.unit)


def _machines(table: RecordTable, plan: ColumnPlan) -> tuple[IntArray, list[str]]:
    use = plan.get("machine")
    if use is None:
        return np.zeros(len(table), dtype=np.int64), [""]
    codes, names = coded(pc.fill_null(table.text(use.column), "not named"))
    return codes, [f"{use.column} {name}" for name in names]


def _paces(
    time_s: FloatArray, lon: FloatArray, lat: FloatArray, rows: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Step (m) and time (s) of each record since the last one; NaN outside ``rows``."""
    step, seconds = np.full(len(time_s), np.nan), np.full(len(time_s), np.nan)
    step[rows] = step_m(lon[rows], lat[rows])
    seconds[rows] = np.diff(time_s[rows], prepend=np.nan)
    return step, seconds


def _finished(track: Track, findings: Findings) -> Track:
    """Spread shared times, judge the order, and attach what was found."""
    own = Findings(list(findings.notes), list(findings.warnings))
    track = replace(track, not_used=dict(findings.not_used))
    if track.ground is not None:  # in no order of time
        return replace(track, notes=tuple(own.notes), warnings=tuple(own.warnings))
    time_s = _spread(track, own)
    back = int((np.diff(time_s) < 0).sum())
    if back:
        own.warn(
            tr(
                "{source}: time goes backwards {times}; records are put in order of time.",
                source=track.source,
                times=trn("{count:,} time", "{count:,} times", back),
            )
        )
    if len(track) == 1:
        own.warn(tr("{source}: a single fix; it takes two to cover ground.", source=track.source))
    elif len(track) > 10 and time_s.min() == time_s.max():
        raise InputError.at(
            track.source,
            "times",
            tr("all records have the same time."),
            tr("Name the column that holds the time of day with --column time=COLUMN."),
        )
    return replace(track, time_s=time_s, notes=tuple(own.notes), warnings=tuple(own.warnings))


def _spread(track: Track, findings: Findings) -> FloatArray:
    """Part fixes that share a time because the clock's step is longer than the log's."""
    time_s = track.time_s
    same = np.diff(time_s) == 0
    moved = (np.diff(track.lon) != 0) | (np.diff(track.lat) != 0)
    whole = (time_s == np.floor(time_s)).all()
    if len(time_s) < 4 or not whole or (same & moved).sum() < 0.3 * len(same) or same.all():
        return time_s
    starts = np.flatnonzero(np.concatenate(([True], ~same)))
    counts = np.diff(np.append(starts, len(time_s)))
    tick = float(np.median(np.abs(np.diff(time_s[starts]))))
    # First and last steps may be partly logged: they go by the pace of the others.
    pace = tick / np.maximum(counts, np.median(counts))
    # What no machine drives in that time is several machines side by side.
    apart_m = step_m(track.lon, track.lat)[1:][same & moved]
    apart_m = apart_m[np.isfinite(apart_m)]
    if apart_m.size and np.median(apart_m) > _FASTEST_MPS * tick / np.median(counts):
        return time_s
    place = np.arange(len(time_s)) - np.repeat(starts, counts)
    first = np.zeros(len(starts))
    first[0] = max(np.median(counts) - counts[0], 0) * pace[0]
    step = "second" if tick == 1 else f"step of {tick:g} s of the clock"
    findings.note(
        tr(
            "{source}: several fixes share each {step} (about {median:g}); they are spread "
            "evenly over it.",
            source=track.source,
            step=step,
            median=np.median(counts),
        )
    )
    return np.asarray(time_s + np.repeat(first, counts) + place * np.repeat(pace, counts))
