"""Loads of the cart: what each weighed, what the meter counted, what the target asked for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from evenacre.model import LoadTicket

FILLED, REMAINING, CLEANED_OUT = "filled", "remaining", "cleaned out"


@dataclass(frozen=True)
class Amount:
    """A mass and its standard uncertainty, kg."""

    kg: float
    sigma_kg: float


@dataclass(frozen=True)
class CartLoad:
    """From filling to the last weighing before the next filling."""

    number: int  # from 1, in the order of the tickets
    # What was weighed in the compartments before the first fill; empty when they were
    opening: tuple[LoadTicket, ...]
    fills: tuple[LoadTicket, ...]
    checks: tuple[LoadTicket, ...]  # weighings on the way
    # The last weighing of each compartment; empty when something was never weighed again
    closing: tuple[LoadTicket, ...]
    start_s: float | None
    end_s: float | None

    @property
    def used(self) -> Amount | None:
        """What left the cart through the meter, by weight; None while nothing closes it."""
        return used_by_scale([self]) if self.closing else None


@dataclass
class _Bin:
    """A compartment while its tickets are read in order."""

    opening: LoadTicket | None = None
    events: list[LoadTicket] = field(default_factory=list)

    @property
    def filled(self) -> bool:
        return any(t.event == FILLED for t in self.events)

    @property
    def closed(self) -> bool:
        """Whether what is in it is known by weight."""
        return not self.filled or self.events[-1].event != FILLED

    @property
    def closing(self) -> list[LoadTicket]:
        """What to take off what was put in: all that was cleaned out, and what remained."""
        out = [t for t in self.events if t.event == CLEANED_OUT]
        if self.events and self.events[-1].event == REMAINING:
            out.append(self.events[-1])
        elif not self.events and self.opening is not None:
            out.append(self.opening)  # nobody touched it: it still holds what it held
        return out

    def after(self) -> _Bin:
        """The compartment as the next load finds it."""
        last = self.events[-1] if self.events else self.opening
        return _Bin(last if last is not None and last.event == REMAINING else None)


def loads_of(tickets: Sequence[LoadTicket]) -> tuple[CartLoad, ...]:
    """Part the tickets of one product, in order, into loads.

    A load ends at the last weighing before the next fill. A compartment topped up before it
    was weighed stays in the same load, and a product that rides in several compartments has
    a load end only once all of them have been weighed. Compartments are taken to be empty
    before their first ticket, unless it says what remained.
    """
    loads: list[CartLoad] = []
    bins: dict[str, _Bin] = {}
    for ticket in tickets:
        held = bins.setdefault(ticket.compartment, _Bin())
        if ticket.event == REMAINING and not held.events and held.opening is None:
            held.opening = ticket  # carried in from before the first ticket
            continue
        known = held.events and all(b.closed for b in bins.values())
        if ticket.event == FILLED and known:
            loads.append(_load(len(loads) + 1, bins))
            bins = {name: b.after() for name, b in bins.items()}
        bins[ticket.compartment].events.append(ticket)
    if any(b.events for b in bins.values()):
        loads.append(_load(len(loads) + 1, bins))
    return tuple(loads)


def _load(number: int, bins: dict[str, _Bin]) -> CartLoad:
    events = [t for b in bins.values() for t in b.events]
    fills = tuple(t for t in events if t.event == FILLED)
    openings = tuple(b.opening for b in bins.values() if b.opening is not None)
    closed = all(b.closed for b in bins.values())
    closing = tuple(t for b in bins.values() for t in b.closing) if closed else ()
    checks = tuple(t for t in events if t.event == REMAINING and t not in closing)
    starts = [t.time_s for t in (*fills, *openings) if t.time_s is not None]
    ends = [t.time_s for t in closing if t.time_s is not None]
    return CartLoad(
        number,
        openings,
        fills,
        checks,
        closing,
        min(starts) if starts else None,
        max(ends) if ends else None,
    )


def used_by_scale(loads: Iterable[CartLoad]) -> Amount:
    """Mass used over closed loads, with its standard uncertainty.

    A weighing that closes one load and opens the next cancels. Readings of a scale err
    independently; those of a load cell err together, as their gain does.
    """
    signed: dict[int, tuple[LoadTicket, int]] = {}
    for load in loads:
        parts = (*((t, 1) for t in (*load.opening, *load.fills)), *((t, -1) for t in load.closing))
        for ticket, sign in parts:
            signed[id(ticket)] = (ticket, signed.get(id(ticket), (ticket, 0))[1] + sign)
    apart = [(t, s) for t, s in signed.values() if not in_common(t)]
    together = [(t, s) for t, s in signed.values() if in_common(t)]
    common = math.fsum(sign * ticket.sigma_kg for ticket, sign in together)
    variance = math.fsum((sign * ticket.sigma_kg) ** 2 for ticket, sign in apart) + common**2
    mass = math.fsum(sign * ticket.mass_kg for ticket, sign in signed.values())
    return Amount(mass, math.sqrt(variance))


def in_common(ticket: LoadTicket) -> bool:
    """Tell whether a weighing shares its error with others of its kind."""
    return "cell" in ticket.weighed_by.lower()


@dataclass(frozen=True)
class Held:
    """What the tickets say is in the cart."""

    amount: Amount
    # Time of the earliest ticket that counts: what was placed after it has to come off
    since_s: float | None


def held_by_tickets(tickets: Sequence[LoadTicket]) -> Held:
    """Add up the last weighing of each compartment and what was filled in since.

    The tickets are of one product, in order. A compartment that was never weighed was empty.
    """
    still: list[LoadTicket] = []
    for _, there in held_after_each(tickets):
        still = there
    times = [t.time_s for t in still if t.time_s is not None]
    whole = bool(still) and len(times) == len(still)
    mass = math.fsum(t.mass_kg for t in still)
    return Held(Amount(mass, combined_sigma(still)), min(times) if whole else None)


def held_after_each(
    tickets: Iterable[LoadTicket],
) -> Iterator[tuple[LoadTicket, list[LoadTicket]]]:
    """Each ticket, and those that tell what is in the cart after it."""
    held: dict[str, list[LoadTicket]] = {}
    for ticket in tickets:
        if ticket.event == FILLED:
            held.setdefault(ticket.compartment, []).append(ticket)
        else:
            held[ticket.compartment] = [ticket] if ticket.event == REMAINING else []
        yield ticket, [t for ts in held.values() for t in ts]


def combined_sigma(tickets: Iterable[LoadTicket]) -> float:
    """Standard uncertainty of a sum of weights, kg."""
    weights = list(tickets)
    common = math.fsum(t.sigma_kg for t in weights if in_common(t))
    return math.hypot(common, *(t.sigma_kg for t in weights if not in_common(t)))
