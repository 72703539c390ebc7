"""Masses as they may truly be: what the meter counts, on ground as far off as it may lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from evenacre.coverage.uncertainty.area_draws import AreaDraws, interval_90
from evenacre.model import FloatArray
from evenacre.model.audit_result import ProductResult

# A meter's calibration is accepted within 5 % of what it is set to (Field and Solie, Introduction
# to Agricultural Engineering Technology, stationary calibration), so anywhere within that: the
# standard uncertainty of a uniform distribution (JCGM 100:2008, 4.3.7).
_METER = 0.05 / np.sqrt(3)
_SEED = 21


def with_intervals(
    product: ProductResult,
    drawn: AreaDraws,
    draws: dict[str, FloatArray],
    figures: dict[str, float],
    number: int,
) -> ProductResult:
    """Give the amounts of a product their 90 % intervals.

    Amounts are those of the meter, which is off by one factor all over; an edge that moves takes
    the mean rate with it, out of the field, over another pass, or from zone to zone. The zones'
    draws are ``drawn.regions`` in their order.

    Parameters
    ----------
    draws, figures : dict
        Areas drawn, and as they are on the map.
    number : int
        Of the product: meters err each by themselves.
    """
    half = np.random.default_rng([_SEED, number]).normal(0.0, _METER, len(drawn.swept) // 2)
    half *= _METER / np.sqrt((half**2).mean())
    meter = 1 + np.concatenate([half, -half])
    swept_m2 = figures["swept_area_m2"]
    rate = product.logged_kg / swept_m2 if swept_m2 else 0.0
    logged = product.logged_kg * meter
    in_field = (product.applied_in_field_kg + rate * drawn.swept_inside) * meter
    in_field = np.clip(in_field, 0.0, logged)
    excess_m2 = figures["excess_area_m2"]
    twice = product.overlap_kg / excess_m2 if excess_m2 else rate
    masses = {
        "logged_kg": logged,
        "applied_in_field_kg": in_field,
        "outside_kg": logged - in_field,
        "overlap_kg": twice * draws["excess_area_m2"] * meter,
    }
    zones = tuple(
        replace(
            zone,
            interval_90={
                "applied_kg": interval_90(np.maximum(zone.applied_kg + moved, 0.0) * meter)
            },
        )
        for zone, moved in zip(product.zones, rate * drawn.regions, strict=True)
    )
    intervals = {key: interval_90(values) for key, values in masses.items()}
    return replace(product, interval_90=intervals, zones=zones)
