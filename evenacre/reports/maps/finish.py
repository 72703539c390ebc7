"""Where a job stands and where its load runs out: features to store, and a map to print."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from evenacre.geo.geodesy import wrapped
from evenacre.language import mark, tr
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
    (True, mark("passes the load reaches"), {"color": sheet.PASS, "linestyle": "solid"}),
    (False, mark("passes without product"), {"color": sheet.SKIP, "linestyle": "dashed"}),
)
_OUT: Any = {"shape": "cross", "size": 13, "fill": sheet.SKIP, "edge": "white", "width": 1.0}


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
    product = job.product.name
    ends = (
        tr("where the {product} runs out", product=product)
        if job.out
        else tr("{product} to the end", product=product)
    )
    made = sheet.blank(result, f"{result.field}: {ends}", units)
    undone = gpd.GeoSeries([job.ahead.undone], crs=result.crs)
    made.fill(result.layers["cover"].geometry, "done", **_DONE)
    made.fill(undone, tr("still to do"), **_TO_DO)
    off = result.layers["unworkable"].geometry
    made.fill(off, tr("not to be worked"), 2, **sheet.UNWORKABLE)
    lines = split_lines(job.ahead.passes, job.out)
    for fed, label, style in _PASSES:
        passes = [line for _, line, has in lines if has is fed]
        made.draw(passes, tr(label), 6, linewidth=1.3, **style)
    if job.out is not None:
        made.spot(job.out.x_m, job.out.y_m, 8, tr("the load runs out here"), **_OUT)
    return made.png(3)
