"""Amounts of each product in the field, its zones and its setbacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.amounts import StepMass, elements, nutrients, step_mass
from evenacre.coverage.clean import Fixes
from evenacre.coverage.cover import Cover
from evenacre.coverage.grids import GridFrame, area_within
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import Strips
from evenacre.geo.geodesy import wrapped
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.overlay import common
from evenacre.model import Application, BoolArray, FloatArray, Implement, IntArray, Product, Track
from evenacre.model.audit_result import ProductResult, SetbackFinding, ZoneAmount
from evenacre.model.finding import Finding

_NEAR_TARGET = 0.10
_BLANK_SHARE = 0.001
_LEAP = 0.05


@dataclass(frozen=True)
class Region:
    """A piece of ground and the share of every strip that lies in it.

    Attributes
    ----------
    name : str
    geometry : geometry
        In the working plane.
    share : (m,) float
    """

    name: str
    geometry: BaseGeometry
    share: FloatArray


@dataclass(frozen=True)
class Ground:
    """The ground that amounts are shared among.

    Attributes
    ----------
    workable : Region
    zones, setbacks : sequence of Region
        Zones clipped to the workable ground; setbacks already widened by their distance.
    covered_m2, excess_m2 : float
    """

    workable: Region
    zones: Sequence[Region]
    setbacks: Sequence[Region]
    covered_m2: float
    excess_m2: float


def with_logged_products(
    applications: Sequence[Application], tracks: Sequence[Track]
) -> tuple[Application, ...]:
    """Add products that the logs name (or leave unnamed) and the operation does not."""
    logged = {name for t in tracks for name in (*t.rates, *t.flows)}
    known = {a.product.name for a in applications}
    new = sorted(logged - known - {""})
    if "" in logged and not applications and not new:
        new = ["unnamed product"]
    return (*applications, *(Application(Product(name, analysis={})) for name in new))


def logged_column(
    fixes: Fixes, tracks: Sequence[Track], kind: str, name: str, *, unnamed: bool
) -> FloatArray | None:
    """Logged ``rates`` or ``flows`` of one product at the fixes.

    Parameters
    ----------
    unnamed : bool
        Whether a column whose product is not named belongs to this product.
    """

    def column(track: Track) -> FloatArray | None:
        values: dict[str, FloatArray] = getattr(track, kind)
        return values.get(name, values.get("") if unnamed else None)

    return fixes.take(tracks, column)


def amount_leaps(
    applications: Sequence[Application], tracks: Sequence[Track], fixes: Fixes
) -> BoolArray:
    """Where a logged rate or flow changes by more than a twentieth from fix to fix, (n - 1,)."""
    leap = np.zeros(max(len(fixes.time_s) - 1, 0), dtype=bool)
    for i, application in enumerate(applications):
        for kind in ("rates", "flows"):
            logged = logged_column(fixes, tracks, kind, application.product.name, unnamed=i == 0)
            if logged is not None:
                value = np.nan_to_num(logged)
                leap |= np.abs(np.diff(value)) > _LEAP * np.maximum(value[1:], value[:-1])
    return leap


def product_masses(
    applications: Sequence[Application],
    tracks: Sequence[Track],
    fixes: Fixes,
    steps: Steps,
    implement: Implement,
) -> tuple[list[StepMass], list[Finding]]:
    """Step masses of every product, and what looked wrong."""
    interval = fixes.take(tracks, lambda t: t.interval_s)
    masses, findings = [], []
    for i, application in enumerate(applications):
        name, target = application.product.name, application.target_kg_per_m2
        flow = logged_column(fixes, tracks, "flows", name, unnamed=i == 0)
        rate = logged_column(fixes, tracks, "rates", name, unnamed=i == 0)
        mass = step_mass(
            steps,
            fixes,
            implement,
            flow_kg_per_s=flow,
            rate_kg_per_m2=rate,
            interval_s=interval,
            target_kg_per_m2=target,
        )
        if mass.source == "target" and target is None:
            findings.append(Finding.warning("no_amount", product=name))
        blank = _blank_share(steps, rate if flow is None else flow)
        if blank > _BLANK_SHARE:
            findings.append(Finding.warning("blank_amount", product=name, share=blank))
        if mass.unplaced_kg > 0.001 * max(mass.mass_kg.sum(), 1e-9):
            findings.append(
                Finding.warning("unplaced_amount", product=name, unplaced_kg=mass.unplaced_kg)
            )
        masses.append(mass)
    return masses, findings


def _blank_share(steps: Steps, logged: FloatArray | None) -> float:
    """Share of the time in work for which the log holds no value."""
    total = float(steps.duration_s[steps.working].sum())
    if logged is None or not total:
        return 0.0
    blank = steps.working & np.isnan(logged[steps.record])
    return float(steps.duration_s[blank].sum()) / total


def product_result(
    application: Application,
    mass: StepMass,
    strips: Strips,
    rows_on: IntArray,
    cover: Cover,
    ground: Ground,
    frame: GridFrame,
    plane: WorkingPlane,
) -> ProductResult:
    """Share one product out over the field, its zones and setbacks.

    Parameters
    ----------
    rows_on : (n - 1,) int
        Rows placing in each step.
    """
    product, target = application.product, application.target_kg_per_m2
    rows = strips.last_row - strips.first_row + 1
    strip_kg = mass.mass_kg[strips.step] * rows / np.maximum(rows_on[strips.step], 1)
    logged = float(strip_kg.sum())
    in_field = float((strip_kg * ground.workable.share).sum())
    zones = tuple(
        ZoneAmount(z.name, z.geometry.area, float((strip_kg * z.share).sum())) for z in ground.zones
    )
    overlap = _overlap_kg(strip_kg, strips, cover, ground.excess_m2)
    grid = frame.rate(strips, strip_kg)
    within = None
    if target and mass.source != "target":
        inside = frame.mask(ground.workable.geometry)
        within = area_within(grid, inside, target, _NEAR_TARGET)
    label = nutrients(product.analysis, in_field)
    return ProductResult(
        product=product.name,
        source=mass.source,
        logged_kg=logged,
        applied_in_field_kg=in_field,
        outside_kg=logged - in_field,
        unzoned_kg=in_field - sum(z.applied_kg for z in zones),
        unplaced_kg=mass.unplaced_kg + float(mass.mass_kg.sum()) - logged,
        overlap_kg=overlap,
        overlap_cost=None if product.price_per_kg is None else overlap * product.price_per_kg,
        target_kg=None if target is None else target * ground.workable.geometry.area,
        target_kg_per_m2=target,
        mean_rate_kg_per_m2=in_field / ground.covered_m2 if ground.covered_m2 else 0.0,
        within_10_percent_of_target_area_m2=within,
        zones=zones,
        nutrients_kg=label,
        elements_kg=elements(label),
        setbacks=_setbacks(strip_kg, cover, ground, plane),
        rate=grid,
    )


def _overlap_kg(strip_kg: FloatArray, strips: Strips, cover: Cover, excess_m2: float) -> float:
    """Excess area times the mean rate of the pieces that overlap, weighted by shared area."""
    shared = cover.pair_area_m2
    if not shared.sum():
        return 0.0
    area = cover.piece_area_m2
    mass = np.bincount(strips.piece, strip_kg, minlength=len(area))
    rate = np.divide(mass, area, out=np.zeros(len(area)), where=area > 0)
    mean = (rate[cover.first] + rate[cover.second]) / 2
    return excess_m2 * float((mean * shared).sum() / shared.sum())


def _setbacks(
    strip_kg: FloatArray, cover: Cover, ground: Ground, plane: WorkingPlane
) -> tuple[SetbackFinding, ...]:
    found = []
    for region in ground.setbacks:
        inside = common(cover.once_or_more, region.geometry)
        if inside.area == 0:
            continue
        spot = shapely.point_on_surface(inside)
        lon, lat = plane.lonlat(np.array([spot.x]), np.array([spot.y]))
        lon = wrapped(lon)
        applied = float((strip_kg * region.share).sum())
        found.append(
            SetbackFinding(region.name, inside.area, applied, float(lon[0]), float(lat[0]))
        )
    return tuple(found)
