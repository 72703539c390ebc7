"""What was put down against what a plan or soil test asks for: met, short or over, by area."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from affine import Affine
from rasterio.features import geometry_mask
from scipy.special import ndtri
from shapely.geometry.base import BaseGeometry

from evenacre.coverage.uncertainty.known_errors import METER_WITHIN
from evenacre.model import FloatArray, Need
from evenacre.model.audit_result import AuditResult, Grid
from evenacre.model.finding import Finding
from evenacre.planning.ground import left_of, whole_of, workable_ground
from evenacre.planning.intervals import REACH, Interval, sum_90, told
from evenacre.planning.season.nutrients import (
    UNZONED,
    AuditedJob,
    by_field,
    element_of,
    parts,
    reference,
    zone_masses,
)

NEAR = 0.10
"""A need is met where the season's total is within this share of it."""

_ROUNDING = 1e-6  # rates come off single-precision rasters

_ALIGNED_CELLS = 1e-6

# Areas are drawn so often, from so many cells at most: they differ by far less than meters do.
_DRAWS, _SEED, _MOST_CELLS = 400, 22, 20_000


@dataclass(frozen=True)
class NeedBalance:
    """One need against the season's total."""

    need: Need
    # Workable ground the need is about; a need of the field leaves out the zones that ask for the
    # same nutrient themselves
    area_m2: float
    applied_kg: float  # of the nutrient, on that ground
    # Area where the total is within ``NEAR`` of the need, less, or more; they make up ``area_m2``
    met_m2: float
    short_m2: float
    over_m2: float
    # ``"cell"``, or ``"zone"`` or ``"field"`` where the rate rasters do not match and means had to
    # do
    judged_by: str
    left_out: tuple[str, ...] = ()  # the zones that ask for the same nutrient themselves
    # 90 % intervals by key; empty where nothing tells
    interval_90: Mapping[str, Interval] = dataclasses.field(default_factory=dict)

    @property
    def needed_kg(self) -> float:
        """Mass that the need comes to on its ground."""
        return self.need.kg_per_m2 * self.area_m2

    @property
    def mean_kg_per_m2(self) -> float:
        """Mean rate over the ground, missed ground included."""
        return self.applied_kg / self.area_m2 if self.area_m2 else 0.0

    @property
    def verdict(self) -> str:
        """``"met"``, ``"short"`` or ``"over"``, by the mean rate."""
        side = int(_side(np.array([self.mean_kg_per_m2]), self.need)[0])
        return ("short", "met", "over")[1 + side]


def compare(
    jobs: Sequence[AuditedJob], needs: Iterable[Need]
) -> tuple[list[NeedBalance], list[Finding]]:
    """Hold every need, in order, against what all operations put on its ground."""
    fields = by_field(jobs)
    needs = list(needs)
    balances: list[NeedBalance] = []
    findings: list[Finding] = []
    for need in needs:
        if need.field not in fields:
            findings.append(Finding.warning("field_not_audited", field=need.field))
            continue
        field = fields[need.field]
        for job in field:
            products = [job.product(p.product) for p in job.result.products]
            findings += [
                Finding.warning("analysis_unknown", product=product.name).at(
                    f"{job.result.field}, {job.result.operation}"
                )
                for product in products
                if product.kind != "seed" and not product.analysis
            ]
        balance = _balance(field, need, needs)
        if balance is None:
            findings.append(Finding.warning("zone_without_ground", zone=need.zone).at(need.field))
        else:
            balances.append(balance)
    return balances, list(dict.fromkeys(findings))


def _balance(jobs: Sequence[AuditedJob], need: Need, needs: Sequence[Need]) -> NeedBalance | None:
    ground = reference(jobs)
    zones = {str(z.zone): z.geometry for z in ground.layers["zones"].itertuples()}
    left_out: tuple[str, ...] = ()
    shapes: dict[str, BaseGeometry] = {}
    if need.zone is None:
        element = element_of(need.nutrient)
        same = [n for n in needs if n.field == need.field and element_of(n.nutrient) == element]
        left_out = tuple(zone for zone in zones if zone in {n.zone for n in same})
        shapes = {zone: shape for zone, shape in zones.items() if zone not in left_out}
        shapes[UNZONED] = left_of(workable_ground(ground), whole_of(zones.values()))
    elif need.zone in zones:
        shapes = {need.zone: zones[need.zone]}
    area = sum(shape.area for shape in shapes.values())
    if area == 0:
        return None
    mass = zone_masses(jobs, need.nutrient)
    masses = [mass.get(name, 0.0) for name in shapes]
    sides = _by_cell(jobs, need, whole_of(shapes.values()), area)
    judged_by = "cell"
    if sides is None:
        areas = np.array([shape.area for shape in shapes.values()])
        mean = np.divide(masses, areas, out=np.zeros(len(areas)), where=areas > 0)
        sides = np.bincount(_side(mean, need) + 1, areas, 3).astype(np.float64)
        judged_by = "zone" if zones else "field"
    short, met, over = sides.tolist()
    whole = need.zone is None and not left_out
    made_of = (
        part for zone in ([None] if whole else shapes) for part in parts(jobs, need.nutrient, zone)
    )
    ends = told(applied_kg=sum_90(made_of))
    if ends and whole and judged_by == "cell":
        ends |= _areas_90(jobs, need, whole_of(shapes.values()), sides)
    return NeedBalance(need, area, sum(masses), met, short, over, judged_by, left_out, ends)


def _by_cell(
    jobs: Iterable[AuditedJob], need: Need, region: BaseGeometry, area_m2: float
) -> FloatArray | None:
    """Area short, met and over from the sum of all rate rasters; None where they differ."""
    placed = [
        (p.rate, job.content(p.product, need.nutrient)) for job in jobs for p in job.result.products
    ]
    total = weighted_sum([grid for grid, _ in placed], [share for _, share in placed])
    if total is None:
        return None
    rates = total.values[inside(total, region)].astype(float)
    if not len(rates):
        return None
    cells = np.bincount(_side(rates, need) + 1, minlength=3)
    return np.asarray(cells * (area_m2 / len(rates)), dtype=np.float64)


def _areas_90(
    jobs: Sequence[AuditedJob], need: Need, region: BaseGeometry, sides: FloatArray
) -> dict[str, Interval]:
    """90 % intervals of the areas short and met; none where places are not told.

    Each meter is off by one factor in all cells, wherever it counted. An edge that moves takes the
    mean rate of its job with it: to bare ground, or from it, and over another pass.

    Parameters
    ----------
    sides : (3,) float
        Area short, met and over as logged, m2.
    """
    if not all(job.result.tells_places and job.result.interval_90 for job in jobs):
        return {}
    placed = [
        (i, p, job.content(p.product, need.nutrient))
        for i, job in enumerate(jobs)
        for p in job.result.products
    ]
    meters = sorted({p.product for _, p, share in placed if share})
    if not meters:
        return {}
    rng = np.random.default_rng(_SEED)
    shares = (np.arange(_DRAWS) + 0.5) / _DRAWS
    counted = {name: 1 + METER_WITHIN * (2 * rng.permutation(shares) - 1) for name in meters}
    rates = []
    for name in meters:
        of_meter = [share * (p.product == name) for _, p, share in placed]
        total = weighted_sum([p.rate for _, p, _ in placed], of_meter)
        if total is None:
            return {}
        rates.append(total.values[inside(total, region)])
    cells = np.array(rates)[:, :: max(1, -(-len(rates[0]) // _MOST_CELLS))]
    area_m2 = float(sides.sum())
    drawn = np.empty((_DRAWS, 3))
    for k in range(_DRAWS):
        factor = np.array([counted[name][k] for name in meters])
        drawn[k] = np.bincount(_side(factor @ cells, need) + 1, minlength=3)
    before = np.bincount(_side(cells.sum(axis=0), need) + 1, minlength=3)
    drawn = sides + (drawn - before) * (area_m2 / cells.shape[1])
    mean = np.zeros((len(jobs), _DRAWS))
    for i, p, share in placed:
        if share:
            result = jobs[i].result
            swept_m2 = result.covered_area_m2 + result.excess_area_m2
            mean[i] += share * counted[p.product] * p.applied_in_field_kg / swept_m2
    every = np.arange(_DRAWS)
    for job, own in zip(jobs, mean, strict=True):
        others = mean.sum(axis=0) - own
        bare, twice = (
            _off_m2(job.result, key, rng.permutation(shares))
            for key in ("skip_area_m2", "overlap_area_m2")
        )
        for rate, more in (
            (others, bare),
            (others + 2 * own, twice),
            (others + own, -bare - twice),
        ):
            drawn[every, _side(rate, need) + 1] += more
    low, high = np.quantile(np.clip(drawn, 0.0, area_m2), (0.05, 0.95), axis=0).tolist()
    # Laps narrower than a cell show in no cell: how far the ground over is off is not told.
    names = ("short_m2", "met_m2")
    return {name: (low[i], high[i]) for i, name in enumerate(names)}


def _off_m2(result: AuditResult, key: str, shares: FloatArray) -> FloatArray:
    """Draws of an area less that on the map, normal with its 90 % interval."""
    low, high = result.interval_90[key]
    off = (low + high) / 2 - getattr(result, key)
    return np.asarray(off + (high - low) / (2 * REACH) * ndtri(shares))


def _side(rates: FloatArray, need: Need) -> np.ndarray:
    """-1 where a rate is short of the need, 0 where it is near it, 1 where it is over."""
    least = need.kg_per_m2 * (1 - NEAR) * (1 - _ROUNDING)
    most = need.kg_per_m2 * (1 + NEAR) * (1 + _ROUNDING)
    return np.where(rates < least, -1, np.where(rates > most, 1, 0))


def weighted_sum(grids: Sequence[Grid], weights: Sequence[float]) -> Grid | None:
    """Sum of rasters times weights over the ground that any of them covers.

    Values where nothing is known (NaN) count as nothing. None when the rasters do not share their
    plane and lattice of cells.
    """
    placed = [offset for grid in grids if (offset := _offset(grids[0], grid)) is not None]
    if not grids or len(placed) < len(grids):
        return None
    first = grids[0]
    top, left = (min(offset[i] for offset in placed) for i in (0, 1))
    shape = tuple(
        max(o[i] + g.values.shape[i] for o, g in zip(placed, grids, strict=True)) - (top, left)[i]
        for i in (0, 1)
    )
    total = np.zeros(shape)
    for (row, col), grid, weight in zip(placed, grids, weights, strict=True):
        rows, cols = grid.values.shape
        at = np.s_[row - top : row - top + rows, col - left : col - left + cols]
        total[at] += weight * np.nan_to_num(grid.values.astype(float))
    cell, corner = first.cell_m, first.transform
    transform = Affine(cell, 0, corner.c + left * cell, 0, -cell, corner.f - top * cell)
    return Grid(total, transform, first.crs)


def _offset(first: Grid, other: Grid) -> tuple[int, int] | None:
    """Rows and columns from one raster's corner to another's; None when they do not align."""
    if first.cell_m != other.cell_m or first.crs != other.crs:
        return None
    col = (other.transform.c - first.transform.c) / first.cell_m
    row = (first.transform.f - other.transform.f) / first.cell_m
    if max(abs(col - round(col)), abs(row - round(row))) > _ALIGNED_CELLS:
        return None
    return round(row), round(col)


def inside(grid: Grid, region: BaseGeometry) -> npt.NDArray[np.bool_]:
    """Cells of a raster whose centre lies in a region."""
    shape = grid.values.shape
    if region.is_empty:
        return np.zeros(shape, dtype=bool)
    return np.asarray(geometry_mask([region], shape, grid.transform, invert=True))
