"""Come out even: the rate at which the ground and the load end together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from evenacre.model import Product
from evenacre.planning.loads.loads import Amount

LEVEL = 0.90
"""Of the interval."""

FEWEST_PASSES = 3
"""With fewer passes their overlap tells little of its scatter."""

USUAL_OVERLAP, USUAL_OVERLAP_SIGMA = 0.03, 0.03
"""Overlap of the ground driven when nothing is known of it, and its standard uncertainty (common
practice, no source)."""


# No drill puts on more, 8,900 lb/ac; and nobody changes a rate tenfold to end a load (common
# practice, no source).
_MOST_RATE_KG_PER_M2, _MOST_CHANGE = 1.0, 10.0
# Degrees of freedom beyond which Student's t is normal.
_MANY = 1e9


@dataclass(frozen=True)
class GroundLeft:
    """Ground still to do and what will be driven to do it."""

    # Workable ground not covered yet
    undone_m2: float
    undone_sigma_m2: float
    # Ground driven again for each part of new ground, as this operator has been doing
    overlap: float
    # Undone ground with the overlap likely on it
    drive_m2: float
    drive_sigma_m2: float
    freedom: float  # degrees of freedom of ``drive_sigma_m2``; infinite when it is not an estimate
    passes_seen: int  # passes the overlap was learned from


@dataclass(frozen=True)
class Finish:
    """What the load and the ground left ask for."""

    ground: GroundLeft
    left: Amount  # mass left
    # Rate that comes out even, and its interval; ``high`` is infinite when the ground left may be
    # none
    even_kg_per_m2: float
    low_kg_per_m2: float
    high_kg_per_m2: float
    level: float
    rate_kg_per_m2: float | None  # the present rate
    needed_kg: float | None  # to finish at the present rate
    short_kg: float | None  # needed less left; negative when product will be left over
    short_sigma_kg: float | None
    # Ground driven at the present rate until the load runs out (may exceed what is left)
    reach_m2: float | None
    reach_sigma_m2: float | None
    # ``"even"`` (the present rate lies in the interval), ``"runs out"``, ``"left over"``, or ``"no
    # rate"``
    verdict: str
    no_ground: bool  # so little ground is left that no rate would end the load on it
    # Of the even rate: ``"allowed"``, ``"below"``, ``"above"`` the product's range, or ``"not
    # known"``
    range: str
    # New ground to leave if the least allowed rate is used: 0 unless ``range`` is ``"below"``
    leave_m2: float
    # To add so that the whole ground gets the present rate (the least allowed one when there is
    # none); 0 when nothing is short
    add_kg: float
    add_parts: tuple[tuple[str, float], ...]  # the same by the parts of a blend
    # Left over at the present rate, or at the highest allowed one where even that is less than
    # comes out even
    spare_kg: float

    @property
    def empty(self) -> bool:
        """Whether nothing is left, so that no rate ends it with the ground."""
        return self.left.kg == 0


def ground_left(
    undone_m2: float, undone_sigma_m2: float, *, overlap: float | None = None
) -> GroundLeft:
    """Ground to drive where nothing was seen of the job.

    Somebody may say the share driven again, which is taken to be good to half of itself; else it
    is the usual 3 +/- 3 %.
    """
    overlap, sigma = told_overlap(overlap)
    drive = undone_m2 * (1 + overlap)
    sigma = math.hypot((1 + overlap) * undone_sigma_m2, undone_m2 * sigma)
    return GroundLeft(undone_m2, undone_sigma_m2, overlap, drive, sigma, math.inf, 0)


def told_overlap(overlap: float | None) -> tuple[float, float]:
    """Overlap as told, good to half of itself, or the usual one; and its standard uncertainty."""
    if overlap is None:
        return USUAL_OVERLAP, USUAL_OVERLAP_SIGMA
    return overlap, overlap / 2


def come_out_even(
    ground: GroundLeft,
    left: Amount,
    *,
    rate_kg_per_m2: float | None = None,
    product: Product | None = None,
) -> Finish:
    """Rate at which ground and load end together, and what to do where it cannot be had.

    The interval about it holds every rate at which mass left and mass needed do not differ by more
    than their errors allow (Fieller 1954, Journal of the Royal Statistical Society B 16, 175). A
    present rate is held against it; the product tells its range and the parts of a blend.
    """
    even = left.kg / ground.drive_m2 if ground.drive_m2 > 0 else math.inf
    low, high = _fieller(ground, left)
    needed = short = short_sigma = reach = reach_sigma = None
    verdict = "no rate"
    if rate := rate_kg_per_m2:
        needed = rate * ground.drive_m2
        short = needed - left.kg
        short_sigma = math.hypot(rate * ground.drive_sigma_m2, left.sigma_kg)
        reach, reach_sigma = left.kg / rate, left.sigma_kg / rate
        verdict = "runs out" if rate > high else "left over" if rate < low else "even"
    most_put_on = _MOST_CHANGE * rate_kg_per_m2 if rate_kg_per_m2 else _MOST_RATE_KG_PER_M2
    least = product.rate_min_kg_per_m2 if product else None
    most = product.rate_max_kg_per_m2 if product else None
    within = "not known" if least is None and most is None else "allowed"
    leave = 0.0
    if least is not None and even < least:
        within, leave = "below", max(ground.undone_m2 - left.kg / least / (1 + ground.overlap), 0.0)
    elif most is not None and even > most:
        within = "above"
    wanted = rate_kg_per_m2 or least
    add = max((wanted or 0.0) * ground.drive_m2 - left.kg, 0.0)
    parts = product.parts if product and add > 0 else ()
    whole = sum(part for _, part in parts)
    add_parts = tuple((name, add * part / whole) for name, part in parts) if whole > 0 else ()
    ceiling = most if within == "above" else rate_kg_per_m2
    spare = max(left.kg - ceiling * ground.drive_m2, 0.0) if ceiling else 0.0
    return Finish(
        ground, left, even, low, high, LEVEL, rate_kg_per_m2, needed, short, short_sigma, reach,
        reach_sigma, verdict, even > most_put_on, within, leave, add, add_parts, spare,
    )  # fmt: skip


def _t(freedom: float) -> float:
    """Quantile of Student's t that the interval reaches to."""
    if freedom >= _MANY:
        return NormalDist().inv_cdf(0.5 + LEVEL / 2)
    from scipy.special import stdtrit  # slow to load, and figures typed in need none

    return float(stdtrit(freedom, 0.5 + LEVEL / 2))


def _fieller(ground: GroundLeft, left: Amount) -> tuple[float, float]:
    m, d = left.kg, ground.drive_m2
    # Welch-Satterthwaite (JCGM 100:2008, G.4.1): the error of the mass is no estimate.
    ours, other = m * ground.drive_sigma_m2, d * left.sigma_kg
    freedom = ground.freedom * (math.hypot(ours, other) / ours) ** 4 if ours > 0 else math.inf
    q2 = _t(freedom) ** 2
    a = d**2 - q2 * ground.drive_sigma_m2**2
    c = m**2 - q2 * left.sigma_kg**2
    far = m * d + math.sqrt(max((m * d) ** 2 - a * c, 0.0))
    # The lower root as c / far rather than over a, which may be zero or, where the ground left
    # may be none, negative.
    low = max(c / far, 0.0) if far > 0 else 0.0
    return low, far / a if a > 0 else math.inf
