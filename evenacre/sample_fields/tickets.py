"""The cart's weighings as tickets, and what truly went out of it between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenacre.sample_fields.clock import Schedule
from evenacre.sample_fields.farm import COMPARTMENTS_BU, Cart, Job
from evenacre.sample_fields.faults import Refill
from evenacre.sample_fields.log_files import clock_text
from evenacre.sample_fields.paths import FloatArray
from evenacre.sample_fields.truth import Ground

TICKETS = "loads.csv"
LB_KG = 0.45359237
TRUCK_LB, CELL_LB = 20, 10  # divisions of the truck scale and of the cart's load cells
_TENDER_LB = 15.0  # how far the tender is off what it was asked for
_CELL_GAIN = 0.003
_FIRST_S, _LAST_S, _EACH_S = -1500.0, 900.0, 60.0
_ROLLED_M = 2.0  # on from the end of a pass, before it stops or turns


@dataclass(frozen=True)
class Ticket:
    """One line of the table; seconds since the start of the job."""

    job: Job
    at_s: float
    event: str
    compartment: str
    product: str
    weight_lb: float
    weighed_by: str


@dataclass(frozen=True)
class Weighed:
    """A job's tickets and, by product, what truly left the cart in each load (lb)."""

    tickets: list[Ticket]
    used_lb: dict[str, list[float]]


def weigh(
    job: Job,
    timed: Schedule,
    laid: Ground,
    masses_kg: Mapping[str, FloatArray],
    rng: np.random.Generator,
) -> Weighed:
    """Fill, weigh and empty the cart through a job.

    Parameters
    ----------
    masses_kg : dict of str to (n,) float
        What the meter logged of each product in each step of ``laid``.
    """
    if job.cart is None:
        return Weighed([], {})
    stops = [timed.drive.passes[f.after_pass][1] for f in job.faults if isinstance(f, Refill)]
    tickets: list[Ticket] = []
    used: dict[str, list[float]] = {}
    for number, (product, compartment) in enumerate(
        zip(job.rates_lb_ac, COMPARTMENTS_BU, strict=True)
    ):
        out_lb = masses_kg[product] / LB_KG / job.cart.meter_reads.get(product, 1.0)
        by_load = [
            float(out_lb[(laid.from_s >= start) & (laid.from_s < end)].sum())
            for start, end in zip([0.0, *stops], [*stops, np.inf], strict=True)
        ]
        used[product] = by_load
        gain = 1.0 + rng.normal(0.0, _CELL_GAIN)
        for at_s, event, weight, way in _events(
            job.cart, timed, stops, product, laid.from_s, out_lb, gain, rng
        ):
            # The tender fills one compartment after the other; the cells are read at once.
            moment = round(at_s + (_EACH_S * number if event == "filled" else 0.0))
            tickets.append(Ticket(job, moment, event, compartment, product, weight, way))
    return Weighed(sorted(tickets, key=lambda t: t.at_s), used)


def _events(
    cart: Cart,
    timed: Schedule,
    stops: Sequence[float],
    product: str,
    from_s: FloatArray,
    out_lb: FloatArray,
    gain: float,
    rng: np.random.Generator,
) -> Iterator[tuple[float, str, float, str]]:
    """When, what, pounds as read and how, for one product."""
    held_lb = put_in_lb = 0.0

    def fill(at_s: float, asked_lb: int) -> tuple[float, str, float, str]:
        nonlocal put_in_lb
        empty = rng.uniform(0.0, TRUCK_LB)
        actual = asked_lb + rng.uniform(-_TENDER_LB, _TENDER_LB)
        put_in_lb += actual
        read = _read(empty + actual, TRUCK_LB) - _read(empty, TRUCK_LB)
        return at_s, "filled", read, f"truck scale {TRUCK_LB} lb"

    asked = iter(cart.fills_lb[product])
    yield fill(_FIRST_S, next(asked))
    looks = [timed.drive.passes[n][1] for n in cart.looks]
    for at in sorted([*stops, *looks]):
        held_lb = put_in_lb - float(out_lb[from_s < at].sum())
        if held_lb < 0:
            raise ValueError(f"the cart would run out of {product}")
        stood_s = float(timed.when(np.array(at + _ROLLED_M)))
        yield stood_s, "remaining", _read(gain * held_lb, CELL_LB), f"load cell {CELL_LB} lb"
        if at in stops:
            yield fill(stood_s + 2 * _EACH_S, next(asked))
    held_lb = put_in_lb - float(out_lb.sum())
    if held_lb < 0:
        raise ValueError(f"the cart would run out of {product}")
    end_s = float(timed.time_s[-1]) + _LAST_S
    yield end_s, "cleaned out", _read(held_lb, TRUCK_LB), f"truck scale {TRUCK_LB} lb"


def _read(weight_lb: float, division_lb: int) -> float:
    """What a scale shows of a weight."""
    return float(round(weight_lb / division_lb) * division_lb)


def write_tickets(directory: Path, tickets: Sequence[Ticket]) -> None:
    """Write the season's tickets as one table, on the clock of the logs."""
    lines = ["time,field,operation,event,compartment,product,weight (lb),weighed by"]
    for t in tickets:
        (time,) = clock_text(t.job.start, np.array([t.at_s]))
        cells = (
            time.replace(".000Z", "Z"),
            t.job.plot.name,
            t.job.name,
            t.event,
            t.compartment,
            t.product,
            f"{t.weight_lb:g}",
            t.weighed_by,
        )
        lines.append(",".join(cells))
    (directory / TICKETS).write_text("\n".join(lines) + "\n", encoding="utf-8")
