"""A small hand-made audit result with every layer, for the reports and writers.

A field 400 m by 200 m is worked in 20-ft passes along its length inside two headland
rounds. One gap between passes, one blocked strip, one lost stretch of log and one missed
corner are left; every area is read off the geometry, so the account closes exactly.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, MultiPolygon, Point, box
from shapely.geometry.base import BaseGeometry

from evenacre.model.audit_result import (
    AuditResult,
    Grid,
    ProductResult,
    SetbackFinding,
    ZoneAmount,
)
from evenacre.model.finding import reader_findings

WIDTH = 6.096
RATE = 0.0168128  # kg/m2, 150 lb/ac
START = 1_776_160_800.0  # 2026-04-14 10:00 UTC


def plane(lon: float = -92.6, lat: float = 40.1) -> CRS:
    """Working plane around a point."""
    return CRS.from_proj4(f"+proj=laea +lat_0={lat} +lon_0={lon} +datum=WGS84 +units=m")


def multi(geometry: BaseGeometry) -> MultiPolygon:
    """Polygonal parts of a geometry."""
    parts = [g for g in shapely.get_parts(geometry) if g.geom_type == "Polygon" and g.area > 1e-9]
    return MultiPolygon(parts)


def swath_boxes() -> list[tuple[str, BaseGeometry]]:
    """Ground swept, as (pass kind, polygon); kinds are 'round' and 'inside'."""
    outer = box(-200, -100, 200, 100)
    corner = box(-200, 96, -188, 100)  # cut off in the turn
    first = outer.difference(outer.buffer(-WIDTH, join_style="mitre")).difference(corner)
    second = outer.buffer(-WIDTH, join_style="mitre").difference(
        outer.buffer(-2 * WIDTH, join_style="mitre")
    )
    swaths: list[tuple[str, BaseGeometry]] = [("round", first), ("round", second)]
    y, k = -100 + 2 * WIDTH, 0
    while y < 100 - 2 * WIDTH:
        shift = 0.6 if k == 5 else 0.0  # the gap between passes
        y += shift - (0.25 if k % 4 == 2 else 0.0)
        swath: BaseGeometry = box(-190.5, y, 190.5, y + WIDTH)
        if k == 8:  # tower 2: rows 9-16 from the left, going east
            swath = swath.difference(box(-60, y + 0.5 * WIDTH, 70, y + 0.75 * WIDTH))
        if k == 14:
            swath = swath.difference(box(100, y, 140, y + WIDTH))
        swaths.append(("inside", swath))
        y, k = y + WIDTH, k + 1
    return swaths


def frame(
    crs: CRS, columns: dict[str, list[object]], geometry: list[BaseGeometry]
) -> gpd.GeoDataFrame:
    """GeoDataFrame in the working plane."""
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(geometry, crs=crs), crs=crs)


def cover_levels(swaths: list[BaseGeometry]) -> tuple[BaseGeometry, BaseGeometry, BaseGeometry]:
    """Ground covered at least once, twice and three times."""
    once: BaseGeometry = MultiPolygon()
    twice: BaseGeometry = MultiPolygon()
    thrice: BaseGeometry = MultiPolygon()
    for swath in swaths:
        thrice = thrice.union(twice.intersection(swath))
        twice = twice.union(once.intersection(swath))
        once = once.union(swath)
    return once, twice, thrice


def make_result(
    *,
    field: str = "Creek Forty",
    operation: str = "Spring fertilizer",
    lon: float = -92.6,
    lat: float = 40.1,
    boundary_given: bool = True,
) -> AuditResult:
    """One audited operation; all figures are consistent with the layers."""
    made = _made(field, operation, lon, lat, boundary_given)
    return replace(made, layers={name: layer.copy() for name, layer in made.layers.items()})


@cache
def _made(field: str, operation: str, lon: float, lat: float, boundary_given: bool) -> AuditResult:
    crs = plane(lon, lat)
    boundary = box(-200, -100, 200, 100).difference(box(195, -100, 200, -80))
    unworkable = box(-20, 60, 20, 66)
    workable = boundary.difference(unworkable)
    kinds, swaths = zip(*swath_boxes(), strict=True)
    once, twice, thrice = cover_levels(list(swaths))
    cover = {
        1: multi(once.difference(twice).intersection(workable)),
        2: multi(twice.difference(thrice).intersection(workable)),
        3: multi(thrice.intersection(workable)),
    }
    missed = multi(workable.difference(once))
    outside = multi(once.difference(workable))
    inner = boundary.buffer(-2 * WIDTH, join_style="mitre")
    headland = multi(workable.difference(inner))

    skips = sorted((g for g in missed.geoms if g.area > 1.0), key=lambda g: -g.area)
    points = gpd.GeoSeries([g.representative_point() for g in skips], crs=crs).to_crs(4326)
    kind_of, cause_of = [], []
    for g in skips:
        blocked = abs((g.bounds[3] - g.bounds[1]) - WIDTH / 4) < 0.01
        gap = abs((g.bounds[3] - g.bounds[1]) - 0.35) < 0.3 and g.bounds[2] - g.bounds[0] > 300
        lost = abs((g.bounds[2] - g.bounds[0]) - 40) < 0.01
        kind_of.append(
            "blocked rows" if blocked else "between passes" if gap else "no log" if lost else "turn"
        )
        cause_of.append("tower 2" if blocked else "")
    length = [max(g.bounds[2] - g.bounds[0], g.bounds[3] - g.bounds[1]) for g in skips]

    starts = START + 120.0 * np.arange(len(swaths))
    lines = [
        g.exterior
        if isinstance(g, shapely.Polygon) and k == "round"
        else LineString([(g.bounds[0], g.centroid.y), (g.bounds[2], g.centroid.y)])
        for k, g in zip(kinds, swaths, strict=True)
    ]
    lines = [LineString(line.coords) for line in lines]
    overlaps = [(2, g) for g in cover[2].geoms] + [(3, g) for g in cover[3].geoms]
    zone_boxes = [box(-200, -100, 0, 100), box(0, -100, 150, 100)]
    well = Point(180, 40).buffer(30.48)
    layers = {
        "field": frame(crs, {"name": [field], "area_m2": [boundary.area]}, [boundary]),
        "unworkable": frame(crs, {"area_m2": [unworkable.area]}, [unworkable]),
        "passes": frame(
            crs,
            {
                "pass": list(range(1, len(swaths) + 1)),
                "start_s": list(starts),
                "end_s": list(starts + 100.0),
                "length_m": [line.length for line in lines],
                "area_m2": [g.area for g in swaths],
                "mean_speed_mps": [2.4] * len(swaths),
                "heading_deg": [90.0 if i % 2 else 270.0 for i in range(len(swaths))],
                "headland": [k == "round" for k in kinds],
            },
            list(lines),
        ),
        "swaths": frame(
            crs,
            {
                "piece": list(range(1, len(swaths) + 1)),
                "pass": list(range(1, len(swaths) + 1)),
                "first_row": [1] * len(swaths),
                "last_row": [32] * len(swaths),
                "area_m2": [g.area for g in swaths],
                "repeated_m2": [0.0] * len(swaths),
                "max_cover": [2] * len(swaths),
            },
            list(swaths),
        ),
        "cover": frame(
            crs,
            {"cover": [1, 2, 3], "area_m2": [cover[i].area for i in (1, 2, 3)]},
            [cover[i] for i in (1, 2, 3)],
        ),
        "overlaps": frame(
            crs,
            {
                "cover": [c for c, _ in overlaps],
                "area_m2": [g.area for _, g in overlaps],
                "in_headland": [g.intersects(headland) for _, g in overlaps],
            },
            [g for _, g in overlaps],
        ),
        "skips": frame(
            crs,
            {
                "skip": list(range(1, len(skips) + 1)),
                "kind": kind_of,
                "cause": cause_of,
                "area_m2": [g.area for g in skips],
                "mean_width_m": [g.area / n for g, n in zip(skips, length, strict=True)],
                "length_m": length,
                "lon": list(points.x),
                "lat": list(points.y),
                "chance": [0.5 if kind == "no log" else 0.99 for kind in kind_of],
            },
            list(skips),
        ),
        "headland": frame(crs, {"rounds": [2], "area_m2": [headland.area]}, [headland]),
        "outside": frame(crs, {"area_m2": [outside.area]}, [outside]),
        "zones": frame(
            crs,
            {
                "zone": ["Bottom", "Ridge"],
                "area_m2": [z.intersection(workable).area for z in zone_boxes],
            },
            [z.intersection(workable) for z in zone_boxes],
        ),
        "setbacks": frame(
            crs,
            {"name": ["House well"], "distance_m": [30.48], "area_m2": [well.area]},
            [well.intersection(boundary)],
        ),
    }
    covered = cover[1].area + cover[2].area + cover[3].area
    swept = sum(g.area for g in swaths)
    excess = swept - once.area
    logged = swept * RATE
    cells = shapely.area(shapely.intersection(np.array(swaths)[:, None], np.array(zone_boxes)))
    zones = tuple(
        ZoneAmount(z, layers["zones"]["area_m2"].iloc[i], float(cells[:, i].sum() * RATE))
        for i, z in enumerate(["Bottom", "Ridge"])
    )
    outside_kg = outside.area * RATE
    step = 1.0
    transform = Affine(step, 0, -210.0, 0, -step, 110.0)
    xs = -210.0 + step * (np.arange(420) + 0.5)
    ys = 110.0 - step * (np.arange(220) + 0.5)
    gx, gy = np.meshgrid(xs, ys)
    count = sum(shapely.contains_xy(g, gx, gy).astype(np.uint8) for g in swaths)
    inside = shapely.contains_xy(boundary, gx, gy)
    count_grid = np.where(inside | (count > 0), count, 255).astype(np.uint8)
    rate = np.where(inside | (count > 0), count * RATE * (1 + 0.15 * np.sin(gx / 60)), np.nan)
    applied = logged - outside_kg
    product = ProductResult(
        product="18-46-0",
        source="flow",
        logged_kg=logged,
        applied_in_field_kg=applied,
        outside_kg=outside_kg,
        unzoned_kg=logged - outside_kg - sum(z.applied_kg for z in zones),
        unplaced_kg=1.5,
        overlap_kg=excess * RATE,
        overlap_cost=excess * RATE * 0.926,
        target_kg=workable.area * RATE,
        target_kg_per_m2=RATE,
        mean_rate_kg_per_m2=applied / covered,
        within_10_percent_of_target_area_m2=0.7 * covered,
        zones=zones,
        nutrients_kg={"N": 0.18 * applied, "P2O5": 0.46 * applied, "K2O": 0.0},
        elements_kg={"N": 0.18 * applied, "P": 0.46 * 0.4364 * applied, "K": 0.0},
        setbacks=(SetbackFinding("House well", 1200.0, 1200.0 * RATE, lon + 0.002, lat + 0.0003),),
        rate=Grid(rate.astype(np.float32), transform, crs),
        rate_ground=frame(
            crs,
            {"kind": [2, 4]},
            [multi(once), multi(twice)],
        ),
    )
    worked_time = 100.0 * len(swaths)
    field_time = 120.0 * len(swaths)
    return AuditResult(
        field=field,
        operation=operation,
        date="2026-04-14",
        crs=crs,
        boundary_given=boundary_given,
        width_m=WIDTH,
        boundary_area_m2=boundary.area,
        workable_area_m2=workable.area,
        covered_area_m2=covered,
        covered_once_m2=cover[1].area,
        covered_twice_m2=cover[2].area,
        covered_more_m2=cover[3].area,
        overlap_area_m2=cover[2].area + cover[3].area,
        excess_area_m2=excess,
        skip_area_m2=missed.area,
        outside_area_m2=outside.area,
        headland_rounds=2,
        headland_area_m2=headland.area,
        headland_overlap_m2=cover[2].intersection(headland).area,
        swept_area_m2=swept,
        pass_count=len(swaths),
        worked_distance_m=float(sum(line.length for line in lines)),
        worked_time_s=worked_time,
        field_time_s=field_time,
        idle_time_s=240.0,
        mean_speed_mps=2.4,
        field_capacity_m2_per_s=covered / field_time,
        theoretical_capacity_m2_per_s=2.4 * WIDTH,
        field_efficiency=covered / field_time / (2.4 * WIDTH),
        start_s=START,
        end_s=START + field_time,
        uncertainty={"covered_area_m2": 180.0, "overlap_area_m2": 90.0, "skip_area_m2": 70.0},
        expected={
            "covered_area_m2": covered - 40.0,
            "skip_area_m2": workable.area - covered + 40.0,
        },
        interval_90={
            "covered_area_m2": (covered - 330.0, covered + 240.0),
            "skip_area_m2": (missed.area - 240.0, missed.area + 330.0),
        },
        products=(product,),
        layers=layers,
        cover_grid=Grid(count_grid, transform, crs),
        cleaning={"read": 16400, "used": 16391, "repeated": 6, "jumps": 3},
        sources=("creek-fert.csv",),
        findings=(
            *reader_findings(["The log has a gap of 17 s at 10:31."]),
            *reader_findings(notes=["Column 'Rate [lb/ac]' was read as the rate of 18-46-0."]),
        ),
    )


def empty_result(**changes: object) -> AuditResult:
    """The same job with no products and every layer but the field and the cover empty."""
    result = make_result()
    keep = {"field", "cover"}
    layers = {k: v if k in keep else v.iloc[:0] for k, v in result.layers.items()}
    return replace(result, products=(), layers=layers, findings=(), **changes)  # type: ignore[arg-type]
