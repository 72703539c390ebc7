"""Read load tickets: what went into the cart, what was left in it, what was cleaned out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from operator import attrgetter
from pathlib import Path

import numpy as np

from evenacre.errors import InputError, Problem, gathered
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import choice, did_you_mean, listed
from evenacre.io.tables.time_texts import (
    not_read,
    on_undated_clock,
    seconds_of,
    time_of_day,
    time_span,
)
from evenacre.io.tickets.rows import (
    TicketRow,
    in_column,
    own_rows,
    read_rows,
    usual_error,
    way_of_weighing,
    weight_sigma_kg,
)
from evenacre.language import tr
from evenacre.model import LoadTicket, OperationPlan, Track
from evenacre.units.display import in_both

EVENTS = {
    "filled": ("filled", "fill", "load", "loaded", "put in", "topped up"),
    "remaining": ("remaining", "remains", "left", "rest", "in the cart"),
    "cleaned out": ("cleaned out", "clean out", "cleanout", "cleaned", "emptied", "taken out"),
}
"""What may be written of each event; the first is how it is called."""
_MOST_KG = 50_000.0  # no cart carries more
# A heap above level full, and a density a little off, are no news.
_HEAP = 1.05
_SCALE_SHARE = 0.005
_SAID = attrgetter("event", "compartment", "product", "mass_kg", "time_s")


def read_tickets(path: Path, plan: OperationPlan) -> tuple[tuple[LoadTicket, ...], Findings]:
    """Read the load tickets of one operation.

    With a ``field`` or ``operation`` column one table serves a whole season: each operation
    takes its own lines. A line that names no field there belongs to none; a warning says so.

    Tickets come in the order of time, or of the file where times are missing, with what does not
    fit together in the table.

    InputError tells of every line that cannot be understood.
    """
    findings = Findings()
    rows = own_rows(read_rows(path, findings), plan, findings)
    times = seconds_of([row.time for row in rows], plan.date, plan.time_zone)
    remedy = tr("Write it as 2026-04-14T09:12, or as 09:12 if the operation has a date.")
    problems = [
        Problem(row.file, row.line, not_read(row.time), remedy, ("time",))
        for row, time in zip(rows, times, strict=True)
        if row.time and np.isnan(time)
    ]
    tickets = []
    for row, time in zip(rows, times, strict=True):
        with gathered(problems):
            tickets.append(_ticket(row, None if np.isnan(time) else float(time), plan, findings))
    if problems:
        raise InputError(problems)
    tickets = _in_order(tickets, findings)
    for a, b in pairwise(tickets):
        if _SAID(a) == _SAID(b) and a.time_s is not None:
            findings.warn(
                tr(
                    "{place}: it repeats {place_2} exactly; both are counted.",
                    place=b.place,
                    place_2=a.place,
                )
            )
    _check_amounts(tickets, plan, findings)
    return tuple(tickets), findings


def stray_fills(paths: Iterable[Path]) -> dict[str, float]:
    """Mass by product of the fillings that name no field in tables where others do, kg.

    No operation counts them, so the balance of the season has to. A table that several
    operations share counts once.
    """
    mass: dict[str, float] = {}
    for path in dict.fromkeys(paths):
        for row in (r for r in read_rows(path, Findings()) if r.stray and _event(r) == "filled"):
            name = row.product or "product not named"
            mass[name] = mass.get(name, 0.0) + row.mass_kg
    return mass


def match_ticket_clock(
    tickets: tuple[LoadTicket, ...], tracks: tuple[Track, ...], time_zone: str | None
) -> tuple[tuple[LoadTicket, ...], list[str]]:
    """Fit tickets to logs that tell the time of day only, with a warning when all of them miss."""
    span = time_span(tracks)
    times = [t.time_s for t in tickets if t.time_s is not None]
    if span is None or not times:
        return tickets, []
    if on_undated_clock(span, times):
        times = [time_of_day(time, time_zone) for time in times]
        fitted = iter(times)
        tickets = tuple(t if t.time_s is None else replace(t, time_s=next(fitted)) for t in tickets)
    missed = tr(
        "Every load ticket lies before or after the log: check their times and the time zone."
    )
    return tickets, [missed] if min(times) > span[1] or max(times) < span[0] else []


def _ticket(
    row: TicketRow, time_s: float | None, plan: OperationPlan, findings: Findings
) -> LoadTicket:
    event = _event(row)
    product, compartment = _contents(row, plan, findings)
    mass = row.mass_kg
    if mass < 0:
        remedy = tr(
            'Write what came out as "cleaned out" and what stayed as "remaining", both positive.'
        )
        raise row.error(
            tr('The weight "{weight}" is negative.', weight=row.weight), remedy, "weight"
        )
    if mass > _MOST_KG:
        what = tr('The weight "{weight}" is more than any cart carries.', weight=row.weight)
        raise row.error(what, tr("Check the number and its unit."), "weight")
    if mass == 0 and event == "filled":
        findings.warn(
            tr("{place}: nothing was filled in; the ticket changes nothing.", place=row.place)
        )
    sigma, by = _sigma(row, mass, event, findings), row.weighed_by or "scale"
    return LoadTicket(event, compartment, product, mass, sigma, by, time_s, row.place)


def _event(row: TicketRow) -> str:
    word = re.sub(r"[\s_-]+", " ", row.event.lower()).strip()
    for event, spellings in EVENTS.items():
        if word in spellings:
            return event
    raise row.error(
        tr('"{event}" is not an event.', event=row.event) if word else tr("The event is missing."),
        f"Write filled, remaining or cleaned out. {did_you_mean(word, EVENTS)}".strip(),
        "event",
    )


def _contents(row: TicketRow, plan: OperationPlan, findings: Findings) -> tuple[str, str]:
    """Product and compartment of a ticket; what it leaves out the operation may tell."""
    placed = [a.product.name for a in plan.applications]
    bins = [c.name for c in plan.implement.compartments]
    product, compartment = row.product, row.compartment
    if compartment and bins and compartment not in bins:
        raise row.error(
            tr('There is no compartment "{compartment}".', compartment=compartment),
            choice(compartment, bins),
            "compartment",
        )
    if not product:
        riding = [p for p, c in plan.compartment_of if c == compartment] if compartment else placed
        riding = list(dict.fromkeys(riding or placed))
        if len(riding) != 1:
            remedy = tr("Fill in the product column.")
            raise row.error(tr("It does not say which product."), remedy, "product")
        product = riding[0]
    elif placed and product not in placed:
        findings.warn(
            tr(
                '{place}: "{product}" is not placed by {name}; its tickets are kept apart. ',
                place=row.place,
                product=product,
                name=plan.name,
            )
            + did_you_mean(product, placed)
        )
    if not compartment:
        rides = [c for p, c in plan.compartment_of if p == product] or bins
        if len(rides) > 1:
            remedy = tr("Fill in the compartment column: {listed}.", listed=listed(rides))
            raise row.error(tr("It does not say which compartment."), remedy, "compartment")
        compartment = rides[0] if rides else ""
    return product, compartment


def _sigma(row: TicketRow, mass_kg: float, event: str, findings: Findings) -> float:
    way, figure = way_of_weighing(row.weighed_by or "scale")
    figure = row.resolution or figure
    if not way:
        findings.warn(
            tr(
                '{place}: weighed by "{weighed_by}" says nothing of how well; {usual_error} '
                "is taken. Write scale, load cell, bags or estimate.",
                place=row.place,
                weighed_by=row.weighed_by,
                usual_error=usual_error(way),
            )
        )
    elif not figure:
        findings.note(
            tr(
                "{file}: weights by {way} give no resolution; {usual_error} is taken.",
                file=row.file,
                way=way,
                usual_error=usual_error(way),
            )
        )
    # What a scale says was filled is the full truck less the empty one.
    readings = 2 if way == "scale" and event == "filled" else 1
    with in_column("resolution" if row.resolution else "weighed_by"):
        return weight_sigma_kg(
            way, mass_kg, figure, readings=readings, file=row.file, place=row.line
        )


def _in_order(tickets: Sequence[LoadTicket], findings: Findings) -> list[LoadTicket]:
    """Tickets in the order of time; in the order of the file where any has no time."""
    timed = [(t.time_s, t.place) for t in tickets if t.time_s is not None]
    late = [place for (before, _), (time, place) in pairwise(timed) if time < before]
    if not late:
        return list(tickets)
    told = tr("{late}: this ticket is earlier than the one above it", late=late[0])
    if len(timed) < len(tickets):
        findings.warn(
            tr(
                "{told}, and some tickets give no time, so the order of the file was kept. "
                "Give every ticket its time.",
                told=told,
            )
        )
        return list(tickets)
    findings.warn(tr("{told}; the tickets were put in the order of their times.", told=told))
    return sorted(tickets, key=lambda t: t.time_s or 0.0)


def _check_amounts(tickets: Sequence[LoadTicket], plan: OperationPlan, findings: Findings) -> None:
    """Warn of more in a compartment than it holds, or more left in it than there was.

    What a compartment holds is its level-full volume times the product's bulk density, where
    both are known.
    """
    volume = {c.name: c.volume_m3 for c in plan.implement.compartments}
    density = {a.product.name: a.product.bulk_density_kg_per_m3 for a in plan.applications}
    inside: dict[str, float] = {}
    certain: dict[str, bool] = {}
    for ticket in tickets:
        name, mass = ticket.compartment, ticket.mass_kg
        before = inside.get(name, 0.0)
        if ticket.event == "filled":
            # Some of an earlier fill may be gone: only what was weighed is certain.
            inside[name] = before + mass
            least = before + mass if certain.get(name, True) else mass
            certain[name] = False
        else:
            allowed = before + 3 * ticket.sigma_kg + _SCALE_SHARE * before
            if name in inside and mass > allowed:
                findings.warn(
                    tr(
                        "{place}: {in_both} were still in the cart, but only {in_both_2} had "
                        "gone in. A filling is missing or a weight is wrong.",
                        place=ticket.place,
                        in_both=in_both("mass", mass),
                        in_both_2=in_both("mass", before),
                    )
                )
            least = mass
            inside[name] = mass if ticket.event == "remaining" else 0.0
            certain[name] = True
        per_m3 = density.get(ticket.product)
        if name in volume and per_m3 and least > _HEAP * volume[name] * per_m3:
            findings.warn(
                tr(
                    '{place}: {in_both} of {product} are more than "{name}" holds level '
                    "full, {in_both_2} at its bulk density. Check the weight, the volume and "
                    "the density.",
                    place=ticket.place,
                    in_both=in_both("mass", least),
                    product=ticket.product,
                    name=name,
                    in_both_2=in_both("mass", volume[name] * per_m3),
                )
            )
