"""The skips worth going back for, largest first, and where to drive."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from evenacre.model.audit_result import AuditResult
from evenacre.reports import figure_text as figures
from evenacre.reports.geodata import WGS84, transformer
from evenacre.units.display import UnitSystem

_CORNERS = {"northwest": (-1, 1), "northeast": (1, 1), "southeast": (1, -1), "southwest": (-1, -1)}
SURE, LIKELY = 0.95, 0.5
"""From this chance on, and above this one, a place is sure and likely to be bare."""

_LONG = 3.0  # times longer than wide: a strip that runs somewhere, not a patch


def stops(result: AuditResult) -> gpd.GeoDataFrame:
    """Put the layer ``skips`` in the order of the fix list, largest first.

    ``skip`` is the place in the list, ``x_m`` and ``y_m`` are the waypoint in the working plane,
    ``standing`` says how sure it is.
    """
    skips = result.layers["skips"]
    order = np.lexsort((skips["skip"], -skips["area_m2"]))
    out = skips.iloc[order].reset_index(drop=True)
    x, y = transformer(WGS84, result.crs).transform(
        out["lon"].to_numpy(float), out["lat"].to_numpy(float)
    )
    standing = [standing_of(chance) for chance in out["chance"]]
    return out.assign(skip=np.arange(1, len(out) + 1), x_m=x, y_m=y, standing=standing)


def standing_of(chance: float) -> str:
    """How sure a place is by the chance that it is bare; nothing where no chance is known."""
    if np.isnan(chance):
        return ""
    return "sure" if chance >= SURE else "likely" if chance > LIKELY else "look first"


def worth(listed: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The stops that are not to be looked at first."""
    return listed[listed["standing"] != "look first"]


def corners(result: AuditResult) -> dict[str, npt.NDArray[np.float64]]:
    """Corners of the field by name: the boundary's farthest points in each diagonal."""
    xy = shapely.get_coordinates(result.layers["field"].geometry.to_numpy())
    return {name: xy[np.argmax(xy @ np.array(way))] for name, way in _CORNERS.items()}


def kind_words(kind: str, cause: str) -> str:
    """Kind of a skip with what caused it."""
    return f"{kind} ({cause})" if cause else kind


def advice(result: AuditResult, units: UnitSystem) -> list[str]:
    """One plain sentence or two for each stop: where to drive and what lies there."""
    frame = stops(result)
    named = corners(result)
    ground = "field" if result.boundary_given else "worked ground"
    sentences = []
    previous: tuple[float, float] | None = None
    for row in frame.itertuples():
        gaps = {name: float(np.hypot(row.x_m - p[0], row.y_m - p[1])) for name, p in named.items()}
        corner = min(gaps, key=lambda name: gaps[name])
        text = (
            f"From the {corner} corner of the {ground} go "
            f"{_leg(row.x_m - named[corner][0], row.y_m - named[corner][1], units)}"
        )
        if previous is not None:
            leg = _leg(row.x_m - previous[0], row.y_m - previous[1], units)
            text += f", or from stop {row.skip - 1} go {leg}"
        text += f". {_shape(row.geometry, row.mean_width_m, row.length_m, units)}"
        if row.standing:
            text += f" {row.standing.capitalize()}: {_share(row.chance)} that it is bare."
        if row.kind == "no log":
            text += " The log has a gap here: look before you drive, it may have been worked."
        sentences.append(text)
        previous = (row.x_m, row.y_m)
    return sentences


def _share(chance: float) -> str:
    """Chance in percent, which is never all or nothing."""
    return f"chance {min(max(round(100 * chance), 1), 99)} %"


def _leg(dx_m: float, dy_m: float, units: UnitSystem) -> str:
    return f"{figures.distance(float(np.hypot(dx_m, dy_m)), units)} {figures.compass(dx_m, dy_m)}"


def _shape(geometry: shapely.Geometry, width_m: float, length_m: float, units: UnitSystem) -> str:
    wide, long = units.length.text(width_m, 2), figures.distance(length_m, units)
    if length_m < _LONG * width_m:
        return f"It is a patch about {wide} wide and {long} long."
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(geometry))
    sides = np.diff(box, axis=0)
    if not len(sides):
        return f"It is about {wide} wide and {long} long."
    longest = sides[np.argmax(np.hypot(sides[:, 0], sides[:, 1]))]
    runs = figures.axis_words(float(longest[0]), float(longest[1]))
    return f"It is a strip about {wide} wide and {long} long, running {runs}."
