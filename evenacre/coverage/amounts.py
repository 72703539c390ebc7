"""Mass of each product step by step, from whatever the log tells, and the nutrients in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from evenacre.coverage.clean import Fixes
from evenacre.coverage.rows import section_bounds
from evenacre.coverage.steps import Steps
from evenacre.coverage.swath import Strips, strip_area_m2
from evenacre.model import Application, BoolArray, FloatArray, Implement, IntArray, Product, Track
from evenacre.model.audit_result import RunningTotals
from evenacre.model.finding import Finding

# Mass fraction of the element in the oxide the label states (atomic masses, IUPAC 2021).
ELEMENT_IN_OXIDE = {
    "P2O5": ("P", 2 * 30.973761998 / (2 * 30.973761998 + 5 * 15.999)),
    "K2O": ("K", 2 * 39.0983 / (2 * 39.0983 + 15.999)),
}
# An amount that changes by more than this between two fixes gets a knot where it does.
_LEAP = 0.05
# More than this of the time in work without an amount, or of the mass unplaced, is told.
_BLANK_SHARE, _UNPLACED_SHARE = 0.001, 0.001
# Loads are told apart by minutes; a second is fine enough.
_EVERY_S = 1.0


def nutrients(analysis: dict[str, float], applied_kg: float) -> dict[str, float]:
    """Mass of each nutrient in label terms: percent by mass times product mass."""
    return {name: applied_kg * percent / 100.0 for name, percent in analysis.items()}


def elements(nutrients_kg: dict[str, float]) -> dict[str, float]:
    """Label nutrients as elements: P = 0.4364 P2O5, K = 0.8301 K2O, others unchanged."""
    out: dict[str, float] = {}
    for name, mass in nutrients_kg.items():
        element, fraction = ELEMENT_IN_OXIDE.get(name, (name, 1.0))
        out[element] = out.get(element, 0.0) + mass * fraction
    return out


@dataclass(frozen=True)
class StepMass:
    """Mass of one product step by step.

    Attributes
    ----------
    mass_kg : (n - 1,) float
        Zero where no row was placing.
    metered_kg : (n - 1,) float
        The same with the flow that was logged while no row was placing: it left the cart too.
    source : str
        ``"flow"``, ``"rate"`` or ``"target"``.
    unplaced_kg : float
        Logged flow while no row was placing.
    strip_kg : (m,) float or None
        Mass of each strip where sections have rates of their own; else rows get equal shares.
    """

    mass_kg: FloatArray
    metered_kg: FloatArray
    source: str
    unplaced_kg: float
    strip_kg: FloatArray | None = None

    def spread(self, strips: Strips, rows_on: IntArray) -> FloatArray:
        """Mass of each strip, (m,); ``rows_on`` is how many rows are placing in each step.

        Rows that are on get equal shares where it is not told.
        """
        if self.strip_kg is not None:
            return self.strip_kg
        rows = strips.last_row - strips.first_row + 1
        return np.asarray(self.mass_kg[strips.step] * rows / np.maximum(rows_on[strips.step], 1))


def _step_mass(
    steps: Steps,
    fixes: Fixes,
    implement: Implement,
    *,
    flow_kg_per_s: FloatArray | None,
    rate_kg_per_m2: FloatArray | None,
    interval_s: FloatArray | None,
    target_kg_per_m2: float | None,
) -> StepMass:
    """Mass of each step: flow x time, else rate x active width x travel, else target likewise.

    A logged value holds for its record's share of time, handover to handover, and reaches
    the ground ``product_lag_s`` later. Where records state the time they cover, their flow
    counts for that time.
    """
    if flow_kg_per_s is not None:
        flow = np.nan_to_num(flow_kg_per_s)
        own = _own_time(fixes)
        if interval_s is not None:
            stated = np.nan_to_num(interval_s)
            rescaled = np.divide(flow * stated, own, out=0 * flow, where=own > 0)
            flow = np.where(stated > 0, rescaled, flow)
        metered = _integral(steps, fixes, flow, implement.product_lag_s)
        mass = np.where(steps.working, metered, 0.0)
        return StepMass(mass, metered, "flow", float((flow * own).sum() - mass.sum()))
    if rate_kg_per_m2 is not None:
        rate = np.nan_to_num(rate_kg_per_m2)
        mean = _integral(steps, fixes, rate, implement.product_lag_s)
        mean = np.divide(mean, steps.duration_s, out=0 * mean, where=steps.duration_s > 0)
        mass = mean * _swept_m2(steps, implement)
        return StepMass(mass, mass, "rate", 0.0)
    mass = (target_kg_per_m2 or 0.0) * _swept_m2(steps, implement)
    return StepMass(mass, mass, "target", 0.0)


def _section_mass(
    rate_kg_per_m2: FloatArray, steps: Steps, fixes: Fixes, strips: Strips, implement: Implement
) -> StepMass:
    """Mass where each section has a rate of its own: that rate times the ground it swept.

    Parameters
    ----------
    rate_kg_per_m2 : (n fixes, s) float
    strips : Strips
        Cut between sections.
    """
    bounds = section_bounds(implement, rate_kg_per_m2.shape[1])
    section = np.searchsorted(bounds, strips.first_row - 1, side="right") - 1
    lag, span = implement.product_lag_s, steps.duration_s
    mean = np.column_stack([_integral(steps, fixes, own, lag) for own in rate_kg_per_m2.T])
    mean = np.divide(mean, span[:, None], out=0 * mean, where=span[:, None] > 0)
    strip_kg = mean[strips.step, section] * strip_area_m2(strips)
    mass = np.asarray(np.bincount(strips.step, strip_kg, minlength=len(span)), dtype=float)
    return StepMass(mass, mass, "rate", 0.0, strip_kg)


def _swept_m2(steps: Steps, implement: Implement) -> FloatArray:
    """Width placing times travel of each step."""
    return np.asarray(steps.active.count * implement.row_spacing_m * steps.distance_m)


def _own_time(fixes: Fixes) -> FloatArray:
    """Time each fix speaks for inside its run."""
    same = fixes.run[1:] == fixes.run[:-1]
    end = np.append(np.where(same, fixes.handover_s, fixes.time_s[:-1]), fixes.time_s[-1])
    start = np.insert(np.where(same, fixes.handover_s, fixes.time_s[1:]), 0, fixes.time_s[0])
    return end - start


def _integral(steps: Steps, fixes: Fixes, value: FloatArray, lag_s: float) -> FloatArray:
    """Integral over each step of a value that holds for each fix's share of time."""
    edge = np.concatenate([fixes.time_s[:1], fixes.handover_s, fixes.time_s[-1:]])
    total = np.concatenate([[0.0], np.cumsum(value * np.diff(edge))])
    knots = steps.tool.time_s - lag_s
    at = np.interp(knots, edge, total)
    # Before the first and after the last record their values go on.
    at += np.minimum(knots - edge[0], 0.0) * value[0]
    at += np.maximum(knots - edge[-1], 0.0) * value[-1]
    return np.where(steps.whole, np.diff(at), 0.0)


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


def product_at(
    fixes: Fixes, tracks: Sequence[Track], kind: str, name: str, *, unnamed: bool
) -> FloatArray | None:
    """Logged ``rates`` or ``flows`` of one product, or of one left unnamed, at the fixes."""

    def column(track: Track) -> FloatArray | None:
        values: dict[str, FloatArray] = getattr(track, kind)
        return values.get(name, values.get("") if unnamed else None)

    return fixes.take(tracks, column)


def _section_rates(
    fixes: Fixes, tracks: Sequence[Track], name: str, *, unnamed: bool
) -> FloatArray | None:
    """Rates of the sections at the fixes, (n, s); None where no track has its own for each."""
    own = [t.section_rates.get(name, t.section_rates.get("") if unnamed else None) for t in tracks]
    some = [rates for rates in own if rates is not None]
    mean = product_at(fixes, tracks, "rates", name, unnamed=unnamed)
    if not some or mean is None or len({rates.shape[1] for rates in some}) > 1:
        return None
    out = np.repeat(np.nan_to_num(mean)[:, None], some[0].shape[1], axis=1)
    for i, rates in enumerate(own):
        if rates is not None:
            mine = fixes.track == i
            out[mine] = rates[fixes.record[mine]]
    return out


def amount_leaps(
    applications: Sequence[Application], tracks: Sequence[Track], fixes: Fixes
) -> BoolArray:
    """Where a logged rate or flow changes by more than a twentieth from fix to fix, (n - 1,)."""
    leap = np.zeros(max(len(fixes.time_s) - 1, 0), dtype=bool)
    for i, application in enumerate(applications):
        for kind in ("rates", "flows"):
            logged = product_at(fixes, tracks, kind, application.product.name, unnamed=i == 0)
            if logged is not None:
                value = np.nan_to_num(logged)
                leap |= np.abs(np.diff(value)) > _LEAP * np.maximum(value[1:], value[:-1])
    return leap


def product_masses(
    applications: Sequence[Application],
    tracks: Sequence[Track],
    fixes: Fixes,
    steps: Steps,
    strips: Strips,
    implement: Implement,
) -> tuple[list[StepMass], list[Finding]]:
    """Step masses of every product, and what looked wrong."""
    interval = fixes.take(tracks, lambda t: t.interval_s)
    masses, findings = [], []
    for i, application in enumerate(applications):
        name, target = application.product.name, application.target_kg_per_m2
        flow = product_at(fixes, tracks, "flows", name, unnamed=i == 0)
        rate = product_at(fixes, tracks, "rates", name, unnamed=i == 0)
        mass = _step_mass(
            steps,
            fixes,
            implement,
            flow_kg_per_s=flow,
            rate_kg_per_m2=rate,
            interval_s=interval,
            target_kg_per_m2=target,
        )
        own = _section_rates(fixes, tracks, name, unnamed=i == 0)
        if flow is None and own is not None:
            mass = _section_mass(own, steps, fixes, strips, implement)
        if mass.source == "target" and target is None:
            findings.append(Finding.warning("no_amount", product=name))
        blank = _blank_share(steps, rate if flow is None else flow)
        if blank > _BLANK_SHARE:
            findings.append(Finding.warning("blank_amount", product=name, share=blank))
        if mass.unplaced_kg > _UNPLACED_SHARE * max(mass.mass_kg.sum(), 1e-9):
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


def running_totals(
    steps: Steps, spans: Sequence[slice], implement: Implement, masses: Mapping[str, StepMass]
) -> RunningTotals:
    """Ground swept and mass metered since the start, exact at times a second or more apart.

    ``spans`` are the steps of each machine; what several do at the same time is added up.
    """
    time = np.sort(steps.tool.time_s)
    second = np.floor(time / _EVERY_S)
    kept = np.flatnonzero(np.diff(second, prepend=-np.inf) > 0)
    kept = np.union1d(kept, [len(time) - 1])

    def running(per_step: FloatArray) -> FloatArray:
        if len(spans) == 1:
            return np.concatenate([[0.0], np.cumsum(per_step)])[kept]
        whole = np.zeros(len(kept))
        for span in spans:
            own = np.concatenate([[0.0], np.cumsum(per_step[span])])
            whole += np.interp(time[kept], steps.tool.time_s[span.start : span.stop + 1], own)
        return whole

    metered = {name: running(mass.metered_kg) for name, mass in masses.items()}
    return RunningTotals(time[kept], running(_swept_m2(steps, implement)), metered)
