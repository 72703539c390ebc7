"""What going back over missed ground would bring and take, trip by trip."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

from evenacre.language import mark
from evenacre.model.audit_result import AuditResult
from evenacre.model.going_back import GoingBack, Trip
from evenacre.reports import quantities as q
from evenacre.reports.column import Table, json_only, named, nested, several
from evenacre.reports.sentences.data_words import in_words
from evenacre.reports.sentences.fix_list import judgement, stops

_OTHER_COLUMNS = "the page has it in the cost and in the ground"
TRIPS = Table(
    "trips",
    (
        named(
            "trip",
            None,
            quantity=q.worded(str, lambda number: number),
            means="Number of the trip, from 1; those worth it in the order of driving.",
        ),
        named(
            "stops",
            quantity=q.worded(lambda numbers: ", ".join(map(str, numbers))),
            means="Places that the trip takes, by their numbers in the list.",
        ),
        named("verdict", quantity=q.worded(in_words, str)),
        *several("gained_m2 doubled_m2", quantity=q.PLACE_AREA),
        named("outside_m2", None, why=_OTHER_COLUMNS),
        named("work_s", mark("Time of work"), "time of work"),
        named("drive_s", mark("Way there"), "way there"),
        named("chance", mark("Chance that it is bare"), quantity=q.CHANCE),
        named("gain_rate_m2_per_s", mark("Gained per hour"), "gained per hour"),
        named("worth", mark("Loss avoided"), "loss avoided", q.MONEY),
        named("put_down", mark("Put down for"), "put down for", q.MONEY),
        named("time", mark("Cost of time"), "cost of time", q.MONEY),
        named("left_per_hour", mark("Left per hour, time not counted"), quantity=q.MONEY),
    ),
    title=mark("What going back brings and takes"),
    words=2,
    folded=True,
    remark=mark(
        "Gained is bare ground covered, doubled is covered ground covered again, by this drill in "
        "straight lanes; the time is that of work and of the way from the place before. Gained per "
        "hour is by the chance that it is bare."
    ),
)

GOING_BACK = json_only(
    "going_back",
    "in_money bare_per_m2 bare_given put_down_per_m2 time_per_s",
    *("speed_mps radius_m start",),
    nested("trips", TRIPS),
    why="the page says in a sentence what places were held against",
    bare_per_m2=q.MONEY,
    put_down_per_m2=q.MONEY,
    time_per_s=q.MONEY,
    in_money=q.YES_NO,
    bare_given=q.YES_NO,
)


def going_back(r: AuditResult) -> Any:
    """Row of `GOING_BACK`: costs per area and time are unknown where they are no money."""
    found = judgement(r)
    told = {name: getattr(found, name) for name in ("in_money", "bare_given", "start")}
    told |= {name: getattr(found, name) for name in ("speed_mps", "radius_m")}
    for name in ("bare_per_m2", "put_down_per_m2", "time_per_s"):
        told[name] = getattr(found, name) if found.in_money else None
    return SimpleNamespace(**told, trips=trips(r))


def trips(r: AuditResult) -> list[Any]:
    """Rows of `TRIPS`."""
    found, listed = judgement(r), stops(r)
    numbers = listed.groupby("trip")["skip"].agg(list) if len(listed) else {}
    return [_row(n, numbers[n], trip, found) for n, trip in enumerate(found.trips, 1)]


def _row(number: int, at: list[int], trip: Trip, found: GoingBack) -> Any:
    chance = 1.0 if math.isnan(trip.chance) else trip.chance
    money = (trip.worth, trip.put_down, trip.time, 3600 * trip.worth_per_s)
    names = ("worth", "put_down", "time", "left_per_hour")
    return SimpleNamespace(
        trip=number,
        stops=at,
        verdict=trip.verdict,
        gained_m2=trip.gained_m2,
        doubled_m2=trip.doubled_m2,
        outside_m2=trip.outside_m2,
        work_s=trip.work_s,
        drive_s=_known(trip.drive_s),
        chance=_known(trip.chance),
        gain_rate_m2_per_s=chance * trip.gained_m2 / trip.time_s,
        **dict(zip(names, money if found.in_money else (None,) * 4, strict=True)),
    )


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
