"""At the tailgate: what went on so far, and whether the setting is worth a change."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from evenacre.model import PastSetting, Product
from evenacre.model.finding import Finding
from evenacre.planning.calibration.next_setting import (
    FARTHEST_TESTED,
    LookUp,
    look_up,
    setting_number,
)
from evenacre.planning.finish.rate_to_finish import Finish, GroundLeft, come_out_even
from evenacre.planning.intervals import REACH, Interval
from evenacre.planning.loads.loads import Amount

# The ground to come is driven twice no more and no less than that before, to so much of it
# (common practice, no source).
_UNLIKE = 0.005


@dataclass(frozen=True)
class SoFar:
    """What was put on so far, by what the cart held then and holds now."""

    started: Amount
    left: Amount
    done_m2: float
    done_sigma_m2: float
    overlap: float  # ground driven again for each part of it
    overlap_sigma: float

    @property
    def used_kg(self) -> float:
        """Mass that went on."""
        return self.started.kg - self.left.kg

    @property
    def rate_kg_per_m2(self) -> float:
        """Rate through the meter, over all the ground driven."""
        return self.used_kg / (self.done_m2 * (1 + self.overlap))

    @property
    def rate_sigma_kg_per_m2(self) -> float:
        """Its standard uncertainty."""
        mass = math.hypot(self.started.sigma_kg, self.left.sigma_kg) / self.used_kg
        again = self.overlap_sigma / (1 + self.overlap)
        return self.rate_kg_per_m2 * math.hypot(mass, again, self.done_sigma_m2 / self.done_m2)


@dataclass(frozen=True)
class Change:
    """What the rate so far has to be multiplied by, and what that makes of the setting."""

    factor: float
    interval_90: Interval  # of the factor; its end is infinite where nothing may be left to do
    telling: bool  # that something has to be changed can be told from the errors
    now: PastSetting | None = None  # the setting driven with; None: not known
    setting: float | None = None  # the one to change to; None: not known, or refused
    setting_between: Interval | None = None
    refused: Finding | None = None  # why there is no setting
    book: LookUp | None = None  # what the settings book says of the rate to come


def finish_so_far(ground: GroundLeft, done: SoFar, product: Product) -> tuple[Finish, Interval]:
    """Come out even from here on, with the 90 % interval of how the rate has to change.

    What was weighed when it began and now, and the ground done and to do, tell both the rate so
    far and the rate that comes out even, so their errors are not independent: the interval holds
    every factor f at which f times what carrying on would take does not differ from what is left
    by more than the errors allow (Fieller 1954, Journal of the Royal Statistical Society B 16,
    175). Ground driven twice is the same before and after.
    """
    finish = come_out_even(ground, done.left, rate_kg_per_m2=done.rate_kg_per_m2, product=product)
    ratio = ground.undone_m2 / done.done_m2
    ratio_sigma = ratio * math.hypot(
        ground.undone_sigma_m2 / ground.undone_m2, done.done_sigma_m2 / done.done_m2, _UNLIKE
    )
    left, before, now = done.left.kg, done.started.sigma_kg, done.left.sigma_kg
    takes = ratio * done.used_kg  # to carry on
    # Variance of f x takes - left, by powers of f.
    square = (ratio * before) ** 2 + (ratio * now) ** 2 + (done.used_kg * ratio_sigma) ** 2
    once, none = 2 * ratio * now**2, now**2
    a, b = takes**2 - REACH**2 * square, -2 * takes * left - REACH**2 * once
    c = left**2 - REACH**2 * none
    root = math.sqrt(max(b**2 - 4 * a * c, 0.0))
    far = (-b + root) / 2  # of the two roots far / a and c / far the second cannot fail
    within = (0.0, 0.0)  # of an empty cart
    if far > 0:
        within = max(c / far, 0.0), far / a if a > 0 else math.inf
    sigma = math.sqrt(square + once + none)
    short = takes - left
    verdict = "even" if within[0] <= 1 <= within[1] else "runs out" if short > 0 else "left over"
    return replace(finish, short_kg=short, short_sigma_kg=sigma, verdict=verdict), within


def change_setting(
    factor: float,
    interval_90: Interval,
    *,
    setting: str = "",
    product: str = "",
    rate_kg_per_m2: float | None = None,
    past: Sequence[PastSetting] = (),
) -> Change:
    """Carry a setting over to a rate so many times as high, in proportion.

    Parameters
    ----------
    factor, interval_90 : float and interval
        What the rate so far is to be multiplied by.
    setting : str
        The one driven with; empty: the last of the product in the settings book.
    product : str
    rate_kg_per_m2 : float, optional
        The rate to come, of which the book is asked.
    past : sequence of PastSetting
        Lines of the settings book.
    """
    name = " ".join(product.lower().split())
    own = [one for one in past if name and " ".join(one.product.lower().split()) == name]
    latest = [one for one in own if setting_number(one.setting) is not None][-1:]
    now = PastSetting(product, setting=setting) if setting else next(iter(latest), None)
    low, high = interval_90
    number = setting_number(now.setting) if now is not None else None
    telling = not low <= 1 <= high
    if number is not None and now is not None:
        # A change that the scale of the meter does not show is none.
        decimals = len(now.setting.replace(",", ".").partition(".")[2])
        telling = telling and round(factor * number, decimals) != round(number, decimals)
    asked = look_up(own, rate_kg_per_m2, product=product) if own and rate_kg_per_m2 else None
    found = Change(factor, interval_90, telling, now, book=asked)
    if now is None:
        return found
    if number is None:
        return replace(found, refused=Finding.note("setting_not_above_zero"))
    if not 1 / FARTHEST_TESTED <= factor <= FARTHEST_TESTED:
        return replace(found, refused=Finding.note("tested_setting_too_far"))
    between = (low * number, high * number) if math.isfinite(high) else None
    return replace(found, setting=factor * number, setting_between=between)
