"""Small pastures for tests: square paddocks of a known area, a herd, and what to seed."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import numpy as np
import shapely

from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Field, HerdClass, Implement, Paddock, Product, Seeding
from evenacre.units.display import ACRE_M2, POUND_KG

APRIL = dt.date(2026, 4, 1)
LB_AC = POUND_KG / ACRE_M2


def day(number: int) -> dt.date:
    """Days after the first of April."""
    return APRIL + dt.timedelta(days=number)


def square(name: str, area_m2: float, place: int = 0) -> Field:
    """A square of exactly this area in its own working plane."""
    plane = WorkingPlane(-92.6, 40.1 + 0.02 * place)
    half = math.sqrt(area_m2) / 2
    ring = shapely.get_coordinates(shapely.box(-half, -half, half, half))
    return Field(name, shapely.Polygon(np.column_stack(plane.lonlat(ring[:, 0], ring[:, 1]))))


def paddock(name: str = "A", acres: float = 10.0, place: int = 0, **given: Any) -> Paddock:
    return Paddock(square(name, acres * ACRE_M2, place), **given)


def cows(head: int, weight_lb: float = 1000.0, intake_lb: float = 25.0) -> HerdClass:
    return HerdClass("cows", head, weight_lb * POUND_KG, intake_lb * POUND_KG)


def seeding(**given: Any) -> Seeding:
    """Rules that forbid as little as they can, but for what is given."""
    open_wide = {"closes_after_days": 10_000, "rest_days": 0}
    return Seeding(
        product=Product("clover", kind="seed"),
        implement=Implement(width_m=6.096, rows=32, rows_known=True),
        rate_kg_per_m2=0.001,
        least_rate_kg_per_m2=0.001,
        most_rate_kg_per_m2=0.001,
        **(open_wide | given),
    )
