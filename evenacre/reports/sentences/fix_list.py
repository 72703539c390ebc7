"""Where to go back and where not, in the order of driving, and how to get there."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from evenacre.language import enumerated, mark, tr, trn
from evenacre.model.audit_result import AuditResult
from evenacre.model.going_back import WORTH_IT, GoingBack, Trip
from evenacre.planning.going_back.judge import BARE_TIMES, PRODUCT_SHARE, judge
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import WGS84, transformer
from evenacre.reports.sentences.data_words import in_words
from evenacre.units.display import UnitSystem

_CORNERS = {
    mark("northwest"): (-1, 1),
    mark("northeast"): (1, 1),
    mark("southeast"): (1, -1),
    mark("southwest"): (-1, -1),
}
SURE, LIKELY = 0.95, 0.5
"""From this chance on, and above this one, a place is sure and likely to be bare."""

_LONG = 3.0  # times longer than wide: a strip that runs somewhere, not a patch
_BY_AREA = {"us": mark("{money}/ac"), "metric": mark("{money}/ha")}


def judgement(result: AuditResult) -> GoingBack:
    """The judgement in a result; without one, that of a drill of which only the width is known."""
    return judge(result) if result.going_back is None else result.going_back


_STOPS: WeakKeyDictionary[AuditResult, gpd.GeoDataFrame] = WeakKeyDictionary()


def stops(result: AuditResult) -> gpd.GeoDataFrame:
    """Put the layer ``skips`` in the order of the fix list.

    First what is worth it, in the order of driving, then what is for when somebody is there, then
    what to leave. ``skip`` is the place in the list, ``trip`` that of its trip, ``verdict`` the
    trip's, ``x_m`` and ``y_m`` are the waypoint in the working plane, ``standing`` says how sure
    it is. Whatever is told of a result asks for them, so they are kept as long as it is.
    """
    if result not in _STOPS:
        _STOPS[result] = _in_order(result)
    return _STOPS[result]


def _in_order(result: AuditResult) -> gpd.GeoDataFrame:
    skips, trips = result.layers["skips"], judgement(result).trips
    row = {number: at for at, number in enumerate(skips["skip"])}
    order = [row[number] for trip in trips for number in trip.places]
    out = skips.iloc[order].reset_index(drop=True)
    x, y = transformer(WGS84, result.crs).transform(
        out["lon"].to_numpy(float), out["lat"].to_numpy(float)
    )
    count = [len(trip.places) for trip in trips]
    return out.assign(
        skip=np.arange(1, len(out) + 1),
        trip=np.repeat(np.arange(1, len(trips) + 1), count),
        verdict=np.repeat(np.array([trip.verdict for trip in trips], dtype=object), count),
        x_m=x,
        y_m=y,
        standing=[standing_of(chance) for chance in out["chance"]],
    )


def best_trip(listed: gpd.GeoDataFrame, found: GoingBack) -> int | None:
    """Index of the trip worth it that brings most for its time: sure or likely, if there is one."""
    doubtful = set(listed.loc[listed["standing"] == "look first", "trip"])
    trips = [i for i, trip in enumerate(found.trips) if trip.verdict == WORTH_IT]
    return max(
        trips, key=lambda i: (i + 1 not in doubtful, found.trips[i].worth_per_s), default=None
    )


def standing_of(chance: float) -> str:
    """How sure a place is by the chance that it is bare; nothing where no chance is known."""
    if np.isnan(chance):
        return ""
    return "sure" if chance >= SURE else "likely" if chance > LIKELY else "look first"


def worth(listed: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The stops worth it that are not to be looked at first."""
    return listed[(listed["verdict"] == WORTH_IT) & (listed["standing"] != "look first")]


def corners(result: AuditResult) -> dict[str, npt.NDArray[np.float64]]:
    """Corners of the field by name: the boundary's farthest points in each diagonal."""
    xy = shapely.get_coordinates(result.layers["field"].geometry.to_numpy())
    return {name: xy[np.argmax(xy @ np.array(way))] for name, way in _CORNERS.items()}


def kind_words(kind: str, cause: str) -> str:
    """Kind of a skip with what caused it."""
    return f"{in_words(kind)} ({in_words(cause)})" if cause else in_words(kind)


def advice(result: AuditResult, units: UnitSystem) -> list[str]:
    """One plain sentence or two for each stop: where to drive and what lies there."""
    frame, trips = stops(result), judgement(result).trips
    named = corners(result)
    sentences = []
    previous: tuple[float, float] | None = None
    of_trip: dict[int, list[int]] = {}
    for trip, skip in zip(frame["trip"].tolist(), frame["skip"].tolist(), strict=True):
        of_trip.setdefault(trip, []).append(skip)
    for row in frame.itertuples():
        gaps = {name: float(np.hypot(row.x_m - p[0], row.y_m - p[1])) for name, p in named.items()}
        corner = min(gaps, key=lambda name: gaps[name])
        leg = _leg(row.x_m - named[corner][0], row.y_m - named[corner][1], units)
        text = tr(
            "From the {corner} corner of the worked ground go {leg}", corner=tr(corner), leg=leg
        )
        if result.boundary_given:
            text = tr("From the {corner} corner of the field go {leg}", corner=tr(corner), leg=leg)
        if previous is not None:
            leg = _leg(row.x_m - previous[0], row.y_m - previous[1], units)
            text += tr(", or from stop {skip} go {leg}", skip=row.skip - 1, leg=leg)
        text += f". {_shape(row.geometry, row.mean_width_m, row.length_m, units)}"
        if row.standing:
            text += tr(
                " {standing}: chance {chance} that it is bare.",
                standing=in_words(row.standing).capitalize(),
                chance=figures.chance(row.chance),
            )
        if row.kind == "no log":
            text += tr(" The log has a gap here: look before you drive, it may have been worked.")
        others = [str(skip) for skip in of_trip[row.trip] if skip != row.skip]
        sentences.append(f"{text} {_of_trip(trips[row.trip - 1], others, units)}")
        previous = (row.x_m, row.y_m)
    return sentences


def _of_trip(trip: Trip, others: list[str], units: UnitSystem) -> str:
    """Say what a trip brings and takes."""
    gained, doubled = (figures.size(m2, units) for m2 in (trip.gained_m2, trip.doubled_m2))
    time = figures.duration(trip.time_s)
    said = tr(
        "Going back gains {gained}, covers {doubled} again and takes {time}.",
        gained=gained,
        doubled=doubled,
        time=time,
    )
    if not np.isnan(trip.drive_s):
        said = tr(
            "Going back gains {gained}, covers {doubled} again and takes {time}, with the way "
            "there.",
            gained=gained,
            doubled=doubled,
            time=time,
        )
    if not others:
        return said
    stops = trn("stop {names}", "stops {names}", len(others), names=enumerated(others))
    return tr("One pass takes it with {stops}. {said}", stops=stops, said=said)


def basis(result: AuditResult, units: UnitSystem, currency: str) -> str:
    """Say what a place is held against, and what of it was assumed."""
    found, acre = judgement(result), 1.0 / units.area.per_si
    where = tr("from where the work ended")
    if found.start == "gate":
        where = tr("from the gate")
    if not found.in_money:
        return tr(
            "Worth it: bare ground, by the chance that it is bare, counts {times:g} times what "
            "working it cost. Held against it are what is put down once more, on covered ground "
            "too, and the time, with the way {where}. Product or hour has no price, so ground is "
            "the measure: {share} % of what it cost is taken to be seed and fertilizer. Both are "
            "common practice, not your figures.",
            times=BARE_TIMES,
            where=where,
            share=round(100 * PRODUCT_SHARE),
        )
    loss, put_down = (
        tr(_BY_AREA[units.name], money=figures.money(amount * acre, currency))
        for amount in (found.bare_per_m2, found.put_down_per_m2)
    )
    hour = figures.money(3600 * found.time_per_s, currency)
    said = tr(
        "Worth it: bare ground loses {loss}, by the chance that it is bare. Held against it are "
        "{put_down} for what is put down once more, on covered ground too, and {hour} an "
        "hour, with the way {where}.",
        loss=loss,
        put_down=put_down,
        hour=hour,
        where=where,
    )
    if found.bare_given:
        return said
    return tr(
        "{said} What bare ground loses was assumed, {times:g} times what working it cost: say it "
        "as bare_loss of the job.",
        said=said,
        times=BARE_TIMES,
    )


def _leg(dx_m: float, dy_m: float, units: UnitSystem) -> str:
    return tr(
        "{distance} {direction}",
        distance=figures.distance(float(np.hypot(dx_m, dy_m)), units),
        direction=figures.compass(dx_m, dy_m),
    )


def _shape(geometry: shapely.Geometry, width_m: float, length_m: float, units: UnitSystem) -> str:
    wide, long = units.length.text(width_m, 2), figures.distance(length_m, units)
    if length_m < _LONG * width_m:
        return tr("It is a patch about {wide} wide and {long} long.", wide=wide, long=long)
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(geometry))
    sides = np.diff(box, axis=0)
    if not len(sides):
        return tr("It is about {wide} wide and {long} long.", wide=wide, long=long)
    longest = sides[np.argmax(np.hypot(sides[:, 0], sides[:, 1]))]
    runs = figures.axis_words(float(longest[0]), float(longest[1]))
    return tr(
        "It is a strip about {wide} wide and {long} long, running {runs}.",
        wide=wide,
        long=long,
        runs=runs,
    )
