"""Loads of the cart: what each weighed, what the meter counted, what the target asked for."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from evenacre.model import LoadTicket
from evenacre.planning.intervals import REACH, Interval, told

FILLED, REMAINING, CLEANED_OUT = "filled", "remaining", "cleaned out"


@dataclass(frozen=True)
class Amount:
    """A mass and its standard uncertainty, kg."""

    kg: float
    sigma_kg: float

    def within_90(self, common_kg: float = 0.0) -> AmountWithin:
        """Give its 90 % interval, with a standard uncertainty that others have in common too."""
        ends = reach_90(self.kg, self.sigma_kg, common_kg)
        return AmountWithin(self.kg, self.sigma_kg, told(kg=ends))


@dataclass(frozen=True)
class AmountWithin(Amount):
    """A mass, its standard uncertainty and, where that is not nothing, its 90 % interval."""

    interval_90: Mapping[str, Interval]


def reach_90(value: float, *sigmas: float) -> Interval | None:
    """90 % interval of a value with independent errors; None without any."""
    reach = REACH * math.hypot(*sigmas)
    return (value - reach, value + reach) if reach > 0 else None


def by_product(tickets: Iterable[LoadTicket]) -> dict[str, list[LoadTicket]]:
    """Tickets of each product, in order."""
    found: dict[str, list[LoadTicket]] = {}
    for ticket in tickets:
        found.setdefault(ticket.product, []).append(ticket)
    return found


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
    begun, ended = min(starts, default=None), max(ends, default=None)
    return CartLoad(number, openings, fills, checks, closing, begun, ended)


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
    return total(signed.values())


def held_by_tickets(tickets: Sequence[LoadTicket]) -> tuple[Amount, float | None]:
    """Add up the last weighing of each compartment and what was filled in since.

    The tickets are of one product, in order. A compartment that was never weighed was empty.
    Returned are what is in the cart, and the time of the earliest ticket that counts: what was
    placed after it has to come off.
    """
    still = [there for _, there in held_after_each(tickets)][-1] if tickets else []
    times = [t.time_s for t in still if t.time_s is not None]
    mass = total((t, 1) for t in still)
    return mass, min(times) if times and len(times) == len(still) else None


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


def total(signed: Iterable[tuple[LoadTicket, int]]) -> Amount:
    """Sum of weights by their signs; weights of load cells share their error."""
    weights = list(signed)
    errors = [(sign * t.sigma_kg, "cell" in t.weighed_by.lower()) for t, sign in weights]
    common = math.fsum(sigma for sigma, by_cell in errors if by_cell)
    sigma = math.hypot(common, *(sigma for sigma, by_cell in errors if not by_cell))
    return Amount(math.fsum(sign * t.mass_kg for t, sign in weights), sigma)
