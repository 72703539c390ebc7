"""Where a job stands and where its load runs out: features to store, and a map to print."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from matplotlib import rc_context
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from evenacre.geo.geodesy import wrapped
from evenacre.model.audit_result import AuditResult
from evenacre.planning.finish.finish_job import FinishJob
from evenacre.planning.finish.remaining_ground import split_lines
from evenacre.reports.maps import palette, sheet
from evenacre.reports.maps.geodata import WGS84, centre_lon, to_lonlat, transformer
from evenacre.units.display import UnitSystem

_STYLE: Any = {"font.size": 10, "hatch.linewidth": 0.5, "text.parse_math": False}
TO_DO, PASS, OUT = "still to do", "pass to come", "load runs out"


def finish_features(result: AuditResult, job: FinishJob) -> gpd.GeoDataFrame:
    """Ground still to do, passes to come and the point where the load runs out, in degrees.

    Returns
    -------
    GeoDataFrame
        ``kind``, ``pass`` (number of the pass to come), ``fed`` (whether the load reaches),
        ``area_m2``, ``length_m`` and geometry, EPSG:4326.
    """
    rows: list[dict[str, Any]] = [
        {"kind": TO_DO, "area_m2": job.ahead.undone.area, "geometry": job.ahead.undone}
    ]
    for number, line, fed in split_lines(job.ahead.passes, job.out):
        rows.append(
            {"kind": PASS, "pass": number, "fed": fed, "length_m": line.length, "geometry": line}
        )
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
    """Draw ground done and to do, passes to come with and without product, and the point.

    Returns
    -------
    bytes
        PNG; equal input gives equal bytes.
    """
    with rc_context(_STYLE):
        title = f"{result.field}: where the {job.product.name} runs out"
        if job.out is None:
            title = f"{result.field}: {job.product.name} to the end"
        figure, axes = sheet.blank(result, title, units)
        done: dict[str, Any] = {"facecolor": palette.ONCE, "linewidth": 0}
        todo: dict[str, Any] = {
            "facecolor": "white",
            "edgecolor": palette.NOTHING,
            "hatch": "....",
            "linewidth": 0.6,
        }
        axes.add_collection(PathCollection(sheet.paths(result.layers["cover"].geometry), **done))
        undone = gpd.GeoSeries([job.ahead.undone], crs=result.crs)
        axes.add_collection(PathCollection(sheet.paths(undone), **todo))
        legend: list[Any] = [Patch(label="done", **done), Patch(label="still to do", **todo)]
        if len(result.layers["unworkable"]):
            off: dict[str, Any] = {
                "facecolor": palette.UNWORKABLE,
                "edgecolor": palette.OUTSIDE,
                "hatch": "\\\\",
                "linewidth": 0.6,
            }
            shapes = sheet.paths(result.layers["unworkable"].geometry)
            axes.add_collection(PathCollection(shapes, zorder=2, **off))
            legend.append(Patch(label="not to be worked", **off))
        lines = split_lines(job.ahead.passes, job.out)
        for fed, label, style in (
            (True, "passes the load reaches", {"color": palette.PASS, "linestyle": "solid"}),
            (False, "passes without product", {"color": palette.SKIP, "linestyle": "dashed"}),
        ):
            chains = [shapely.get_coordinates(line) for _, line, has in lines if has is fed]
            if chains:
                axes.add_collection(
                    LineCollection(
                        chains,
                        colors=style["color"],
                        linestyles=style["linestyle"],
                        linewidths=1.3,
                        zorder=6,
                    )
                )
                legend.append(Line2D([], [], linewidth=1.3, label=label, **style))  # type: ignore[arg-type]
        if job.out is not None:
            mark: dict[str, Any] = {
                "marker": "X",
                "markersize": 13,
                "markerfacecolor": palette.SKIP,
                "markeredgecolor": "white",
                "linestyle": "none",
            }
            axes.plot([job.out.x_m], [job.out.y_m], zorder=8, **mark)
            legend.append(Line2D([], [], label="the load runs out here", **mark))
        sheet.add_legend(figure, legend, 3)
        return sheet.png(figure)
