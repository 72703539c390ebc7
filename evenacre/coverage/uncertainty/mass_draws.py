"""Masses as they may truly be: what the meter counts, on ground as far off as it may lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenacre.coverage.uncertainty.area_draws import AreaDraws, interval_90
from evenacre.coverage.uncertainty.known_errors import METER_WITHIN
from evenacre.model import FloatArray
from evenacre.model.audit_result import ProductResult

_SEED = 21


def with_intervals(
    product: ProductResult,
    drawn: AreaDraws,
    draws: dict[str, FloatArray],
    figures: dict[str, float],
    reached: Sequence[int],
    number: int,
) -> ProductResult:
    """Give the amounts of a product their 90 % intervals.

    Amounts are those of the meter, which is off by one factor all over; an edge that moves takes
    the mean rate with it, out of the field, over another pass, from zone to zone, or into a
    setback.

    Parameters
    ----------
    draws, figures : dict
        Areas drawn, and as they are on the map.
    reached : sequence of int
        Which of the setbacks of ``drawn`` the product lies in.
    number : int
        Of the product: meters err each by themselves.
    """
    # Every share of the distribution once, so that the meter alone gives its own interval,
    # whichever kind of receiver it goes with; a draw and its mirror image are of one kind.
    kind, half = drawn.kind, len(drawn.kind) // 2
    rng, off = np.random.default_rng([_SEED, number]), np.empty(half)
    for one in np.unique(kind):
        mine = np.flatnonzero(kind[:half] == one)
        shares = (rng.permutation(len(mine)) + 0.5) / (2 * len(mine))
        off[mine] = METER_WITHIN * (1 - 2 * shares) * np.where(np.arange(len(mine)) % 2, 1, -1)
    meter = 1 + np.concatenate([off, -off])
    swept_m2 = figures["swept_area_m2"]
    rate = product.logged_kg / swept_m2 if swept_m2 else 0.0
    logged = product.logged_kg * meter
    in_field = (product.applied_in_field_kg + rate * drawn.swept_inside) * meter
    in_field = np.clip(in_field, 0.0, logged)
    outside = product.outside_kg + rate * (drawn.swept - drawn.swept_inside)
    excess_m2 = figures["excess_area_m2"]
    twice = product.overlap_kg / excess_m2 if excess_m2 else rate
    zone_kg = np.reshape([zone.applied_kg for zone in product.zones], (-1, 1)) + rate * drawn.zones
    zone_kg = np.maximum(zone_kg, 0.0) * meter
    masses = {
        "logged_kg": logged,
        "applied_in_field_kg": in_field,
        "outside_kg": np.maximum(outside, 0.0) * meter,
        "unzoned_kg": np.maximum(in_field - zone_kg.sum(axis=0), 0.0),
        "overlap_kg": twice * draws["excess_area_m2"] * meter,
    }
    zones = tuple(
        replace(zone, interval_90={"applied_kg": interval_90(kg, kind)})
        for zone, kg in zip(product.zones, zone_kg, strict=True)
    )
    setbacks = tuple(
        replace(
            found,
            interval_90={
                "area_m2": interval_90(np.maximum(found.area_m2 + covered, 0.0), kind),
                "applied_kg": interval_90(
                    np.maximum(found.applied_kg + rate * swept, 0.0) * meter, kind
                ),
            },
        )
        for found, covered, swept in zip(
            product.setbacks, drawn.setbacks_once[reached], drawn.setbacks[reached], strict=True
        )
    )
    intervals = {key: interval_90(values, kind) for key, values in masses.items()}
    return replace(product, interval_90=intervals, zones=zones, setbacks=setbacks)
