"""Pounds step by step, and the nutrients in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.coverage.clean import Fixes
from evenacre.coverage.steps import Steps
from evenacre.model import FloatArray, Implement

# Mass fraction of the element in the oxide the label states (atomic masses, IUPAC 2021).
ELEMENT_IN_OXIDE = {
    "P2O5": ("P", 2 * 30.973761998 / (2 * 30.973761998 + 5 * 15.999)),
    "K2O": ("K", 2 * 39.0983 / (2 * 39.0983 + 15.999)),
}


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
    """

    mass_kg: FloatArray
    metered_kg: FloatArray
    source: str
    unplaced_kg: float


def step_mass(
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
    the ground ``product_lag_s`` later.

    Parameters
    ----------
    flow_kg_per_s, rate_kg_per_m2, interval_s : (n fixes,) float or None
        Logged values at the fixes. Where records state the time they cover, their flow counts
        for that time.
    target_kg_per_m2 : float or None
    """
    working = steps.working
    width = steps.active.sum(axis=1) * implement.row_spacing_m
    swept = width * steps.distance_m
    if flow_kg_per_s is not None:
        flow = np.nan_to_num(flow_kg_per_s)
        own = _own_time(fixes)
        if interval_s is not None:
            stated = np.nan_to_num(interval_s)
            rescaled = np.divide(flow * stated, own, out=0 * flow, where=own > 0)
            flow = np.where(stated > 0, rescaled, flow)
        metered = _integral(steps, fixes, flow, implement.product_lag_s)
        mass = np.where(working, metered, 0.0)
        return StepMass(mass, metered, "flow", float((flow * own).sum() - mass.sum()))
    if rate_kg_per_m2 is not None:
        rate = np.nan_to_num(rate_kg_per_m2)
        mean = _integral(steps, fixes, rate, implement.product_lag_s)
        mean = np.divide(mean, steps.duration_s, out=0 * mean, where=steps.duration_s > 0)
        return StepMass(mean * swept, mean * swept, "rate", 0.0)
    mass = (target_kg_per_m2 or 0.0) * swept
    return StepMass(mass, mass, "target", 0.0)


def _own_time(fixes: Fixes) -> FloatArray:
    """Time each fix speaks for inside its run."""
    same = fixes.run[1:] == fixes.run[:-1]
    end = np.append(np.where(same, fixes.handover_s, fixes.time_s[:-1]), fixes.time_s[-1])
    start = np.insert(np.where(same, fixes.handover_s, fixes.time_s[1:]), 0, fixes.time_s[0])
    return end - start


def _integral(steps: Steps, fixes: Fixes, value: FloatArray, product_lag_s: float) -> FloatArray:
    """Integral over each step of a value that holds for each fix's share of time."""
    edge = np.concatenate([fixes.time_s[:1], fixes.handover_s, fixes.time_s[-1:]])
    total = np.concatenate([[0.0], np.cumsum(value * np.diff(edge))])
    knots = steps.tool.time_s - product_lag_s
    # Before the first and after the last record their values go on.
    start = np.minimum(knots - edge[0], 0.0) * value[0]
    past = np.maximum(knots - edge[-1], 0.0) * value[-1]
    at = np.interp(knots, edge, total) + start + past
    return np.where(steps.whole, np.diff(at), 0.0)
