"""Which part of which machine a log is about."""

from __future__ import annotations

from evenacre.io.common.findings import Findings
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.devices import DEVICE, FUNCTION, SECTION, UNIT, Machines, Part
from evenacre.io.taskdata.logs import Log

_TELLING = (ddis.ACTUAL_RATE, ddis.ACTUAL_FLOW, ddis.SETPOINT_RATE, ddis.SETPOINT_FLOW)


def boom_of(log: Log, machines: Machines, about: str, findings: Findings) -> str:
    """Choose the element whose work a log tells of: that of the most states, then of rates."""
    weights: dict[str, int] = {}
    for index, column in enumerate(log.columns):
        told = index in log.logged or column.fixed is not None
        if not told or column.ddi is None:
            continue
        weight = 0
        if column.ddi in ddis.CONDENSED_STATES:
            weight = 100
        elif column.ddi == ddis.WORK_STATE:
            weight = 10
        elif column.ddi in _TELLING or column.ddi == ddis.ACTUAL_WIDTH:
            weight = 1
        if weight:
            boom = _boom(column.part, machines)
            weights[boom] = weights.get(boom, 0) + weight
    # The sections of a boom tell more than the machine as a whole.
    ranked = sorted(
        weights, key=lambda b: (bool(sections_of(b, machines)), weights[b]), reverse=True
    )
    with_sections = [boom for boom in ranked if sections_of(boom, machines)]
    if len(with_sections) > 1 and len({_lowest(b, machines) for b in with_sections}) > 1:
        names = ", ".join(machines.parts[b].name for b in with_sections[1:])
        findings.warn(
            f"{about}: it tells of several tools; the ground is that of "
            f'"{machines.parts[ranked[0]].name}", not of {names}.'
        )
    return ranked[0] if ranked else ""


def _lowest(boom: str, machines: Machines) -> str:
    """Return the first section of a boom: nested elements share it."""
    return sections_of(boom, machines)[0].id


def _boom(part: str, machines: Machines) -> str:
    """Return the nearest function or device an element belongs to."""
    for above in machines.path(part):
        if machines.parts[above].kind in (FUNCTION, DEVICE):
            return above
    return part


def sections_of(boom: str, machines: Machines) -> list[Part]:
    """Return the sections of a boom from the left; its units when it has no sections."""
    return machines.below(boom, SECTION) or machines.below(boom, UNIT)
