"""Work states of a boom and its sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.io.common.findings import Findings, counted
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.booms import sections_of
from evenacre.io.taskdata.devices import Machines, Part
from evenacre.io.taskdata.logs import Log
from evenacre.model import BoolArray, FloatArray

_ON, _ERROR, _ABSENT = 1, 2, 3


@dataclass(frozen=True)
class States:
    """What was switched on at each record.

    Attributes
    ----------
    working : (n,) bool or None
    sections : (n, s) bool or None
        From the left.
    """

    working: BoolArray | None
    sections: BoolArray | None


def read_states(log: Log, boom: str, machines: Machines, about: str, findings: Findings) -> States:
    """Read the work states of a boom and its sections; unknown ones count as off."""
    parts = sections_of(boom, machines)
    sections = _condensed(log, boom, len(parts), about, findings)
    if sections is None:
        sections = _single(log, parts, about, findings)
    return States(_working(log, boom, machines, about, findings), sections)


def _working(
    log: Log, boom: str, machines: Machines, about: str, findings: Findings
) -> BoolArray | None:
    """Work state of the boom, else of what it belongs to."""
    own = {log.columns[index].part: index for index in log.indices(ddis.WORK_STATE)}
    for part in [boom, *machines.path(boom)[1:]]:
        if part not in own:
            continue
        state = log.values(own[part])
        if not (state[np.isfinite(state)] == _ABSENT).all():
            _tell_of_gaps(np.isnan(state), state == _ERROR, "work state", about, findings)
            return state == _ON
    return None


def _tell_of_gaps(
    unknown: BoolArray, errors: BoolArray, what: str, about: str, findings: Findings
) -> None:
    if unknown.any():
        findings.note(
            f"{about}: the {what} is not known in the first "
            f"{counted(int(unknown.sum()), 'record')}; they count as off."
        )
    if errors.any():
        findings.warn(
            f'{about}: the {what} is "error" in {counted(int(errors.sum()), "record")}; they count '
            "as off."
        )


def _condensed(
    log: Log, boom: str, described: int, about: str, findings: Findings
) -> BoolArray | None:
    """States packed sixteen to a value, two bits a section, the leftmost lowest."""
    groups = {
        number: next(i for i in log.indices(ddi) if log.columns[i].part == boom)
        for number, ddi in enumerate(ddis.CONDENSED_STATES)
        if any(log.columns[i].part == boom for i in log.indices(ddi))
    }
    packed = {number: log.values(index) for number, index in groups.items()}
    if not any(_highest(values, number, absent=True) for number, values in packed.items()):
        return None
    used = max(_highest(values, number, absent=False) for number, values in packed.items())
    width = described or used
    if not width:
        return np.zeros((len(log), 1), dtype=bool)
    _compare(used, described, about, findings)
    on = np.zeros((len(log), width), dtype=bool)
    errors, unknown = np.zeros(len(log), dtype=bool), np.zeros(len(log), dtype=bool)
    for number, values in packed.items():
        known = np.isfinite(values)
        unknown |= ~known
        bits = _bits(values)
        first = number * ddis.STATES_PER_VALUE
        for section in range(first, min(first + ddis.STATES_PER_VALUE, width)):
            state = (bits >> (2 * (section - first))) & 3
            on[:, section] = known & (state == _ON)
            errors |= known & (state == _ERROR)
    _tell_of_gaps(unknown, errors, "state of the sections", about, findings)
    return on


def _bits(values: FloatArray) -> np.ndarray:
    return np.nan_to_num(values).astype(np.int64) & 0xFFFFFFFF


def _highest(values: FloatArray, group: int, *, absent: bool) -> int:
    """Return the number of the last section of a group that is ever on; 0 if none is.

    With ``absent``, of the last that is ever anything but not available.
    """
    bits = _bits(values[np.isfinite(values)])
    for place in reversed(range(ddis.STATES_PER_VALUE)):
        state = (bits >> (2 * place)) & 3
        if ((state != _ABSENT) if absent else (state == _ON)).any():
            return group * ddis.STATES_PER_VALUE + place + 1
    return 0


def _compare(used: int, described: int, about: str, findings: Findings) -> None:
    if not described:
        findings.warn(
            f"{about}: no machine describes its sections; it is taken to have {used}, the last "
            "that was ever on."
        )
    elif used > described:
        findings.warn(
            f"{about}: section {used} was on, but the machine describes {described}; those "
            "described are used."
        )


def _single(log: Log, parts: list[Part], about: str, findings: Findings) -> BoolArray | None:
    """States logged section by section."""
    index_of = {log.columns[index].part: index for index in log.indices(ddis.WORK_STATE)}
    if not any(part.id in index_of for part in parts):
        return None
    sections = np.zeros((len(log), len(parts)), dtype=bool)
    unknown, errors = np.zeros(len(log), dtype=bool), np.zeros(len(log), dtype=bool)
    silent = [place for place, part in enumerate(parts) if part.id not in index_of]
    for place, part in enumerate(parts):
        if part.id in index_of:
            state = log.values(index_of[part.id])
            unknown |= np.isnan(state)
            errors |= state == _ERROR
            sections[:, place] = state == _ON
    _tell_of_gaps(unknown, errors, "state of the sections", about, findings)
    if silent:
        findings.warn(
            f"{about}: {counted(len(silent), 'section', 'have')} no logged state and counts as on "
            "while any other is."
        )
        sections[:, silent] = np.any(sections, axis=1, keepdims=True)
    return sections
