"""Where a job stands and where its load runs out: features to store, and a map to print."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib import rc_context

from evenacre.geo.geodesy import wrapped
from evenacre.model.audit_result import AuditResult
from evenacre.planning.finish.finish_job import FinishJob
from evenacre.planning.finish.remaining_ground import split_lines
from evenacre.reports.geodata import WGS84, centre_lon, to_lonlat, transformer
from evenacre.reports.maps import sheet
from evenacre.units.display import UnitSystem

TO_DO, PASS, OUT = "still to do", "pass to come", "load runs out"
_DONE = sheet.ground(sheet.ONCE)
_TO_DO = sheet.ground("white", sheet.NOTHING, 0.6, hatch="....")
_PASSES: Any = (
    (True, "passes the load reaches", {"color": sheet.PASS, "linestyle": "solid"}),
    (False, "passes without product", {"color": sheet.SKIP, "linestyle": "dashed"}),
)
_OUT: Any = {
    "marker": "X",
    "markersize": 13,
    "markerfacecolor": sheet.SKIP,
    "markeredgecolor": "white",
    "linestyle": "none",
}


def finish_features(result: AuditResult, job: FinishJob) -> gpd.GeoDataFrame:
    """Ground still to do, passes to come and the point where the load runs out, in degrees.

    Passes have ``pass``, the number to come, and ``fed``, whether the load reaches.
    """
    rows: list[dict[str, Any]] = [
        {"kind": TO_DO, "area_m2": job.ahead.undone.area, "geometry": job.ahead.undone},
        *(
            {"kind": PASS, "pass": number, "fed": fed, "length_m": line.length, "geometry": line}
            for number, line, fed in split_lines(job.ahead.passes, job.out)
        ),
    ]
    if job.out is not None:
        spot = shapely.Point(job.out.x_m, job.out.y_m)
        rows.append({"kind": OUT, "pass": job.out.pass_number, "geometry": spot})
    columns = ["kind", "pass", "fed", "area_m2", "length_m", "geometry"]
    frame = gpd.GeoDataFrame(rows, columns=columns, geometry="geometry", crs=result.crs)
    return to_lonlat(frame, centre_lon(result))


def run_out_spot(result: AuditResult, job: FinishJob) -> tuple[float, float] | None:
    """Longitude and latitude of where the load runs out; None when it does not."""
    if job.out is None:
        return None
    lon, lat = transformer(result.crs, WGS84).transform(job.out.x_m, job.out.y_m)
    return float(wrapped(np.array([lon]))[0]), float(lat)


def finish_map(result: AuditResult, job: FinishJob, units: UnitSystem) -> bytes:
    """Draw ground done and to do, passes to come, and the point; equal input gives equal bytes."""
    with rc_context(sheet.STYLE):
        product = job.product.name
        ends = f"where the {product} runs out" if job.out else f"{product} to the end"
        made = sheet.blank(result, f"{result.field}: {ends}", units)
        undone = gpd.GeoSeries([job.ahead.undone], crs=result.crs)
        made.fill(result.layers["cover"].geometry, "done", **_DONE)
        made.fill(undone, "still to do", **_TO_DO)
        off = result.layers["unworkable"].geometry
        made.fill(off, "not to be worked", 2, **sheet.UNWORKABLE)
        lines = split_lines(job.ahead.passes, job.out)
        for fed, label, style in _PASSES:
            passes = [line for _, line, has in lines if has is fed]
            made.draw(passes, label, 6, linewidth=1.3, **style)
        if job.out is not None:
            made.plot([job.out.x_m], [job.out.y_m], "the load runs out here", 8, **_OUT)
        return made.png(3)
