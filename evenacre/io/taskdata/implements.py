"""The implement a task was done with, as far as its machine describes it.

Offsets are those of ISO 11783-10: x ahead, y to the right, in millimetres from the machine's
reference point, which for a towed implement lies on its axle and for a tractor on its rear one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from evenacre.io.common.findings import Findings
from evenacre.io.taskdata.booms import sections_of
from evenacre.io.taskdata.devices import CONNECTOR, NAVIGATION, Machines, Part
from evenacre.model import Implement, TowedUnit

_ALIKE = 0.01
_MATCH = 0.02
_LEAST_ROW_M, _ROW_M = 0.05, 0.25
# Three-point hitches carry or half carry; every other kind of connector tows.
_MOUNTED = (2, 3)
_UNKNOWN = (None, 0)

Link = tuple[str, str]
"""Two connected elements."""


def width_of(boom: str, machines: Machines, about: str, findings: Findings) -> float | None:
    """Return the full working width of a boom in metres; None when nothing tells it."""
    own = next(
        (w for part in machines.path(boom) if (w := machines.parts[part].width_m) is not None),
        None,
    )
    widths = [part.width_m for part in sections_of(boom, machines)]
    known = [width for width in widths if width is not None]
    if not known or len(known) < len(widths):
        return own
    total = sum(known)
    if own is not None and abs(total - own) > _MATCH * own:
        findings.warn(
            f"{about}: the machine is said to be {own:.2f} m wide, but its sections add up to "
            f"{total:.2f} m; the sections were taken."
        )
    return total


def implement_of(
    boom: str,
    width_m: float,
    machines: Machines,
    links: Sequence[Link],
    about: str,
    findings: Findings,
) -> Implement:
    """Build the implement of a boom, with its sections and what is known of the hitch."""
    implement = _with_sections(Implement(width_m), sections_of(boom, machines), about, findings)
    return _with_hitch(implement, boom, machines, links, about, findings)


def _with_sections(
    implement: Implement, sections: Sequence[Part], about: str, findings: Findings
) -> Implement:
    widths = [part.width_m for part in sections]
    known = [width for width in widths if width is not None]
    if len(known) < 2 or len(known) < len(widths):
        return implement
    if max(known) - min(known) <= _ALIKE * max(known):
        return implement
    common = max(math.gcd(*(round(1000 * width) for width in known)) / 1000, _LEAST_ROW_M)
    row = common / math.ceil(common / _ROW_M)
    rows = tuple(max(1, round(width / row)) for width in known)
    findings.note(
        f"{about}: the sections are of different width, {min(known):.2f} to {max(known):.2f} m."
    )
    return replace(implement, rows=sum(rows), section_rows=rows)


def _with_hitch(
    implement: Implement,
    boom: str,
    machines: Machines,
    links: Sequence[Link],
    about: str,
    findings: Findings,
) -> Implement:
    """Add where the antenna and the tool line are, when both machines say all that is needed."""
    if boom not in machines.parts:
        return implement
    device = machines.parts[boom].device
    tool = _ahead(boom, machines)
    antennas = [p for p in machines.parts.values() if p.kind == NAVIGATION and _placed(p)]
    if tool is None or not antennas:
        return implement
    own = [antenna for antenna in antennas if antenna.device == device]
    if own:
        antenna = own[0]
        findings.note(f"{about}: the antenna rides on the implement itself, as the machine says.")
        return replace(
            implement,
            antenna_ahead_m=(antenna.ahead_m or 0.0) - tool,
            antenna_left_m=-(antenna.right_m or 0.0),
        )
    pins = _pins(device, {a.device for a in antennas}, machines, links)
    if pins is None:
        return implement
    front, rear = pins
    antenna = next(a for a in antennas if a.device == front.device)
    ahead, pin, pull = antenna.ahead_m or 0.0, front.ahead_m or 0.0, rear.ahead_m or 0.0
    implement = replace(
        implement,
        axle_to_antenna_m=ahead,
        antenna_ahead_m=ahead - pin,
        antenna_left_m=(front.right_m or 0.0) - (antenna.right_m or 0.0),
    )
    kinds = [part.connector for part in (rear, front) if part.connector not in _UNKNOWN]
    if (kinds and kinds[0] in _MOUNTED) or pull <= 0:
        how, implement = "mounted", replace(implement, tool_behind_m=pull - tool)
    else:
        how = f"towed on an axle {pull:.2f} m behind the pin"
        implement = replace(implement, tow=(TowedUnit(pull),), tool_behind_m=-tool)
    findings.note(
        f"{about}: as the machines say, the antenna is {ahead - pin:.2f} m ahead of the pin, and "
        f"the implement is {how}, its tool line {implement.tool_behind_m:.2f} m behind that."
    )
    return implement


def _placed(part: Part) -> bool:
    return part.ahead_m is not None


def _ahead(boom: str, machines: Machines) -> float | None:
    """Return how far ahead of its reference point the tool line of a boom is."""
    sections = [p.ahead_m for p in sections_of(boom, machines) if p.ahead_m is not None]
    if sections:
        return sum(sections) / len(sections)
    return machines.parts[boom].ahead_m


def _pins(
    device: str, pullers: set[str], machines: Machines, links: Sequence[Link]
) -> tuple[Part, Part] | None:
    """Return the connectors of puller and implement that are joined, if that is clear."""
    for pair in links:
        ends = [machines.parts[id] for id in pair if id in machines.parts]
        front = [p for p in ends if p.device in pullers and _placed(p)]
        rear = [p for p in ends if p.device == device and _placed(p)]
        if front and rear:
            return front[0], rear[0]
    fronts = [p for d in sorted(pullers) for p in machines.of(d, CONNECTOR) if _placed(p)]
    rears = [p for p in machines.of(device, CONNECTOR) if _placed(p)]
    # Without a stated connection only one way of joining them is no guess.
    return (fronts[0], rears[0]) if len(fronts) == len(rears) == 1 else None
