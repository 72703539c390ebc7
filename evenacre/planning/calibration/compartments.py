"""What a compartment holds, how far it goes, and how two of them end together."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from evenacre.units.display import POUND_KG

BUSHEL_M3 = 2150.42 * 0.0254**3

# Pounds in a bushel: University of Missouri Extension G4020, Tables for Weights and
# Measurement: Crops.
_CROPS_BY_LB_PER_BU = {
    60.0: "alfalfa, red clover, white clover, crimson clover, birdsfoot trefoil, vetch, wheat, "
    "soybeans, flax",
    56.0: "rye, corn",
    48.0: "barley",
    45.0: "timothy",
    32.0: "oats",
    14.0: "orchardgrass, smooth brome, smooth bromegrass, tall fescue",
}
_LB_PER_BU = {
    crop: pounds for pounds, crops in _CROPS_BY_LB_PER_BU.items() for crop in crops.split(", ")
}


def mass_kg(volume_m3: float, bulk_density_kg_per_m3: float) -> float:
    """Mass that fills a volume level."""
    return volume_m3 * bulk_density_kg_per_m3


def usual_bulk_density(product: str) -> tuple[str, float] | None:
    """The crop a product's name speaks of and its bulk density (kg/m3), if listed.

    It stands in until the lot itself is weighed. A name that speaks of two crops is a mix and
    has none.
    """
    words = _words(product)
    found = [crop for crop in _LB_PER_BU if _words(crop) <= words]
    if len(found) != 1:
        return None
    return found[0], _LB_PER_BU[found[0]] * POUND_KG / BUSHEL_M3


@dataclass(frozen=True)
class CompartmentShare:
    """What one of several compartments has to feed so that all end together."""

    name: str
    mass_kg: float  # what is in it
    share: float  # its part of the whole, 0 to 1
    rate_kg_per_m2: float  # the rate to set its meter to


@dataclass(frozen=True)
class Split:
    """Compartments that feed one product and empty together after ``area_m2``."""

    shares: tuple[CompartmentShare, ...]
    area_m2: float


def split_to_empty_together(masses_kg: Mapping[str, float], rate_kg_per_m2: float) -> Split:
    """Share a rate, wanted of all compartments together, by the mass in each."""
    total = math.fsum(masses_kg.values())
    if total <= 0 or min(masses_kg.values()) < 0:
        raise ValueError("compartments need something in them")
    shares = tuple(
        CompartmentShare(name, kg, kg / total, rate_kg_per_m2 * kg / total)
        for name, kg in masses_kg.items()
    )
    return Split(shares, total / rate_kg_per_m2)


def _words(text: str) -> set[str]:
    """Words of a name without plural s; rye grass is one word, and so is no rye."""
    joined = re.sub(r"\s+grass\b", "grass", text.lower())
    return {word.removesuffix("s") for word in re.findall(r"[a-z]+", joined)}
