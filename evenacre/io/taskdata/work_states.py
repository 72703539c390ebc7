"""Which part of a machine did the work a log tells of, and where it was switched on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from evenacre.io.common.findings import Subject
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.machines import DEVICE, FUNCTION, Machines, Part
from evenacre.io.taskdata.time_log import Log
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray

_ON, _ERROR, _ABSENT = 1, 2, 3
_LOW_BITS = 0x55555555  # of sixteen states of two bits
_AMOUNTS = (*ddis.RATES, ddis.ACTUAL_FLOW, ddis.SETPOINT_FLOW, ddis.ACTUAL_WIDTH)
# A counter that rose this often tells where there was work; how much longer than usual a rise
# may have taken.
_LEAST_RISES, _USUAL_STEPS = 5, 3
# A rate that is never zero repeats what was wanted; counters lag behind switches a little.
_STOPPED_SHARE, _IDLE_SHARE = 0.01, 0.3
NOT_AVAILABLE = 2**31 - 1
"""What a rate or flow says that is not known."""
# How much a value tells of which element did the work.
_WEIGHTS = {
    **dict.fromkeys(ddis.CONDENSED_STATES, 100),
    ddis.WORK_STATE: 10,
    **dict.fromkeys(_AMOUNTS, 1),
}


@dataclass(frozen=True)
class LoggedWork:
    """A time log and the element whose work it tells of (empty: it names none)."""

    log: Log
    machines: Machines
    boom: str
    about: Subject

    @cached_property
    def sections(self) -> list[Part]:
        """Sections of the boom, from the left."""
        return self.machines.sections(self.boom)

    def nearest(self, ddi: int) -> list[int]:
        """Columns of an identifier for the boom and for what it belongs to, the nearest first."""
        own = self.log.index_by_part(ddi)
        return [own[p] for p in [self.boom, *self.machines.path(self.boom)[1:]] if p in own]

    def without(self, values: FloatArray, bad: BoolArray, flaw: str) -> FloatArray:
        """Take bad values of records as missing, with a warning that they ``have`` a flaw."""
        if bad.any():
            count = trn("{count:,} record has", "{count:,} records have", int(bad.sum()))
            self.about.warn(tr("{count} {flaw}; it is taken as missing.", count=count, flaw=flaw))
        return np.where(bad, np.nan, values)


def logged_work(log: Log, machines: Machines, about: Subject) -> LoggedWork:
    """Choose the element whose work a log tells of: that of the most states, then of rates."""
    weights: dict[str, int] = {}
    for index, column in enumerate(log.columns):
        weight = _WEIGHTS.get(column.ddi or 0)
        if weight and not _ever_on(log, index):
            weight = 1
        if weight and (index in log.logged or column.fixed is not None):
            # The nearest function or device, else the element itself.
            above = (
                p for p in machines.path(column.part) if machines.kind(p) in (FUNCTION, DEVICE)
            )
            boom = next(above, column.part)
            weights[boom] = weights.get(boom, 0) + weight
    sections = {boom: machines.sections(boom) for boom in weights}
    # The sections of a boom tell more than the machine as a whole.
    ranked = sorted(weights, key=lambda b: (bool(sections[b]), weights[b]), reverse=True)
    with_sections = [boom for boom in ranked if sections[boom]]
    # Nested elements share their sections.
    if len({sections[boom][0].id for boom in with_sections}) > 1:
        names = ", ".join(machines.parts[b].name for b in with_sections[1:])
        about.warn(
            tr(
                'it tells of several tools; the ground is that of "{name}", not of {names}.',
                name=machines.parts[ranked[0]].name,
                names=names,
            )
        )
    return LoggedWork(log, machines, ranked[0] if ranked else "", about)


def working(work: LoggedWork) -> BoolArray | None:
    """Work state of the boom, else of what it belongs to, (n,)."""
    for index in work.nearest(ddis.WORK_STATE):
        state = work.log.values(index)
        if not (state[np.isfinite(state)] == _ABSENT).all():
            _tell_of_gaps(np.isnan(state), state == _ERROR, tr("work state"), work.about)
            return np.asarray(state == _ON)
    return None


def _ever_on(log: Log, index: int) -> bool:
    """Whether a state is on at any record; yes of what is no state."""
    key = log.columns[index].ddi
    values = log.values(index)
    known = values[np.isfinite(values)].astype(np.int64)
    if key in ddis.CONDENSED_STATES:
        return bool((known & ~(known >> 1) & _LOW_BITS).any())
    return key != ddis.WORK_STATE or bool((known == _ON).any())


def agreed(
    work: LoggedWork, sections: BoolArray | None, on: BoolArray | None, width: FloatArray | None
) -> tuple[BoolArray | None, BoolArray | None, FloatArray | None]:
    """Settle where the states of sections, (n, s), the work state and the width, (n,), disagree.

    A state that is off throughout is no account of a drive of which another one says that there
    was work; and what rises only with work tells of it where no state does.
    """
    warn = work.about.warn
    some = None if sections is None else sections.any(axis=1)
    if some is not None and on is not None and not (some & on).any():
        if on.any():
            warn(
                tr(
                    "the states of its sections are off wherever its work state is on "
                    "({records}); the work state was taken.",
                    records=trn("{count:,} record", "{count:,} records", int(on.sum())),
                )
            )
            sections = some = None
        elif some.any():
            warn(
                tr(
                    "its work state is off throughout, but sections are on in {records}; the "
                    "sections were taken.",
                    records=trn("{count:,} record", "{count:,} records", int(some.sum())),
                )
            )
            on = None
    states = [state for state in (some, on) if state is not None]
    together = np.logical_and.reduce(states) if states else None
    if width is not None and together is not None and together.any():
        wide = np.nan_to_num(width) > 0
        if not wide[together].any():
            warn(tr("the working width is logged as none wherever there is work; it was not used."))
            width = None
    rising = _rising(work)
    if together is None:
        if rising is not None and width is None:
            work.about.note(
                tr("no work state is logged; there was work wherever its counters rise.")
            )
            on = rising
        return sections, on, width
    if not together.any():
        what = tr("its counters rise")
        if rising is None:
            what, rising = "its rates are above zero", _flowing(work)
        if rising is not None:
            warn(
                tr(
                    "it says that there was no work at all, but {what} in {records}; there "
                    "was work where they do so.",
                    what=what,
                    records=trn("{count:,} record", "{count:,} records", int(rising.sum())),
                )
            )
            return None, rising, None
    elif rising is not None:
        idle = rising & ~together
        if idle.sum() > _IDLE_SHARE * rising.sum():
            warn(
                tr(
                    "its counters rise in {records} in which nothing is said to be on; these "
                    "count as without work.",
                    records=trn("{count:,} record", "{count:,} records", int(idle.sum())),
                )
            )
    return sections, on, width


def _rising(work: LoggedWork) -> BoolArray | None:
    """Records up to which a counter of work has risen, (n,); None where that is not clear."""
    log, device = work.log, _device(work, work.boom)
    for key in ddis.COUNTERS:
        for index in log.indices(key):
            if index not in log.logged or _device(work, log.columns[index].part) != device:
                continue
            record, value = log.logged[index]
            up = np.diff(value.astype(np.int64)) > 0
            if up.sum() < _LEAST_RISES:
                continue
            # A counter that stood still is not logged: only so much before a rise was work.
            steps = np.diff(record)[up]
            reach = np.minimum(steps, _USUAL_STEPS * max(1, int(np.median(steps))))
            ends = record[1:][up]
            edges = np.zeros(len(log) + 1, dtype=np.int64)
            np.add.at(edges, ends - reach, 1)
            np.add.at(edges, ends, -1)
            return np.asarray(np.cumsum(edges[:-1]) > 0)
    return None


def _flowing(work: LoggedWork) -> BoolArray | None:
    """Records with a rate or flow above zero, (n,); None where none is ever said to be zero."""
    log, device = work.log, _device(work, work.boom)
    some, none = np.zeros(len(log), dtype=bool), np.zeros(len(log), dtype=bool)
    for key in (ddis.ACTUAL_RATE, ddis.ACTUAL_FLOW, *ddis.UNWEIGHED):
        for index in log.indices(key):
            if _device(work, log.columns[index].part) == device:
                values = log.values(index)
                some |= (values > 0) & (values < NOT_AVAILABLE)
                none |= values == 0
    stopped = none & ~some
    return some if some.any() and stopped.sum() > _STOPPED_SHARE * len(log) else None


def _device(work: LoggedWork, part: str) -> str:
    parts = work.machines.parts
    return parts[part].device if part in parts else ""


def sections_on(work: LoggedWork) -> BoolArray | None:
    """Work states of the sections from the left, (n, s); unknown ones count as off."""
    condensed = _condensed(work)
    return _single(work) if condensed is None else condensed


def _tell_of_gaps(unknown: BoolArray, errors: BoolArray, what: str, about: Subject) -> None:
    if unknown.any():
        count = trn("{count:,} record", "{count:,} records", int(unknown.sum()))
        about.note(
            tr(
                "the {what} is not known in the first {count}; they count as off.",
                what=what,
                count=count,
            )
        )
    if errors.any():
        count = trn("{count:,} record", "{count:,} records", int(errors.sum()))
        about.warn(
            tr('the {what} is "error" in {count}; they count as off.', what=what, count=count)
        )


def _condensed(work: LoggedWork) -> BoolArray | None:
    """States packed sixteen to a value, two bits a section, the leftmost lowest."""
    log, described = work.log, len(work.sections)
    unknown, errors = np.zeros(len(log), dtype=bool), np.zeros(len(log), dtype=bool)
    groups: list[tuple[int, np.ndarray, np.ndarray]] = []  # first section, bits of on and of error
    told, used = False, 0
    for number, ddi in enumerate(ddis.CONDENSED_STATES):
        index = next((i for i in log.indices(ddi) if log.columns[i].part == work.boom), None)
        if index is None:
            continue
        values = log.values(index)
        missing = np.isnan(values)
        bits = np.nan_to_num(values).astype(np.int64)
        low, high = bits & _LOW_BITS, (bits >> 1) & _LOW_BITS
        first = number * ddis.STATES_PER_VALUE
        ons, error = low & ~high, high & ~low
        groups.append((first, ons.astype(np.int32), error.astype(np.int32)))
        unknown |= missing
        told |= bool((low & high != _LOW_BITS)[~missing].any())
        ever_on = int(np.bitwise_or.reduce(ons)).bit_length()
        used = first + (ever_on + 1) // 2 if ever_on else used
    if not told:
        return None
    width = described or used
    if not width:
        return np.zeros((len(log), 1), dtype=bool)
    if not described:
        work.about.warn(
            tr(
                "no machine describes its sections; it is taken to have {used}, the last "
                "that was ever on.",
                used=used,
            )
        )
    elif used > described:
        work.about.warn(
            tr(
                "section {used} was on, but the machine describes {described}; those "
                "described are used.",
                used=used,
                described=described,
            )
        )
    on = np.zeros((len(log), width), dtype=bool)
    for first, ons, error in groups:
        places = range(min(ddis.STATES_PER_VALUE, width - first))
        for place in places:
            on[:, first + place] = (ons >> 2 * place) & 1
            errors |= ((error >> 2 * place) & 1).astype(bool)
    _tell_of_gaps(unknown, errors, tr("state of the sections"), work.about)
    return on


def _single(work: LoggedWork) -> BoolArray | None:
    """States logged section by section."""
    log, index_of = work.log, work.log.index_by_part(ddis.WORK_STATE)
    silent = [place for place, part in enumerate(work.sections) if part.id not in index_of]
    if len(silent) == len(work.sections):
        return None
    on = np.zeros((len(log), len(work.sections)), dtype=bool)
    unknown, errors = np.zeros(len(log), dtype=bool), np.zeros(len(log), dtype=bool)
    for place, part in enumerate(work.sections):
        if part.id in index_of:
            state = log.values(index_of[part.id])
            unknown |= np.isnan(state)
            errors |= state == _ERROR
            on[:, place] = state == _ON
    _tell_of_gaps(unknown, errors, tr("state of the sections"), work.about)
    if silent:
        work.about.warn(
            tr(
                "{sections} no logged state: taken to be on while any other is.",
                sections=trn("{count:,} section has", "{count:,} sections have", len(silent)),
            )
        )
        on[:, silent] = np.any(on, axis=1, keepdims=True)
    return on
