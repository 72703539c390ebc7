"""What the log tells of a drill, held against what the season does, and what follows for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit
from shapely.geometry.base import BaseGeometry

from evenacre.arrays import FloatArray
from evenacre.coverage.measure.antenna_path import AntennaPath
from evenacre.coverage.measure.pass_ends import (
    PassEnds,
    Shift,
    find_ends,
    find_rate_steps,
    shift_of,
    shift_to_boundary,
)
from evenacre.coverage.measure.seams import Seams, find_seams
from evenacre.model import Doubt, Implement, SettingsError, Together, TowedUnit
from evenacre.model.measured import Measured, SettingName

# Fewer differences of pass ends, or seams of a kind, tell nothing.
_FEWEST_ENDS, _FEWEST_SEAMS = 6, 3
# A hand on the switch is up to so late, or so early, all along (common practice, no source); rows
# that switch one after the other show that no hand does it, but a control: what it was told of tool
# and delay is as good as this (common practice, no source).
_LATE_S, _EARLY_S, _MACHINE_S, _PARTED_SHARE = 1.15, 0.75, 0.15, 0.2
HAND_S = 0.35
"""How well it is known how late a hand on the switch is (common practice, no source)."""
# Ends that scatter less than this in time are no hand's.
_REGULAR_S = 0.05
# So sure has a difference to be before it is taken for one.
_SURE = 3.0
# Tool and delay are told apart where speeds vary so much that the delay is known so well.
_APART_S = 0.2
# Figures that differ by less make no difference.
_LEAST_BEHIND_M, _LEAST_LEFT_M, _LEAST_LAG_S = 0.3, 0.03, 0.3
# Quartiles of fewer values do not tell their scatter.
_FEW = 16
# What a tape and a stopwatch leave, as warnings take it (common practice, no source).
_TAPE_M, _STOPWATCH_S = 0.15, 0.5
# A width and a spacing that differ by more than this have not been driven edge to edge.
_UNLIKE_WIDTH = 0.15
# A spacing that is known no better than this is none.
_UNEVEN_M = 0.1
# Where nothing tells: the tool anywhere from under the antenna to so far behind, the antenna so far
# from the middle, the product so long on its way (common practice, no source).
_UNKNOWN_BEHIND_M, _UNKNOWN_LEFT_M, _UNKNOWN_LAG_S = 12.0, 0.03, 3.0
# A tool further behind is towed; shares of antenna to pin and pin to axle (usual, no source).
_MOUNTED_M, _TO_PIN, _TO_AXLE = 3.5, 0.25, 0.65


@dataclass(frozen=True)
class Evidence:
    """What the log tells of a drill, and from what.

    Attributes
    ----------
    measured : tuple of Measured
        ``behind``, ``left``, ``lag`` and ``width`` in this order.
    error : SettingsError
        How far the figures that the audit uses may be off.
    seams : Seams or None
    shift : Shift or None
    """

    measured: tuple[Measured, ...]
    error: SettingsError
    seams: Seams | None = None
    shift: Shift | None = None

    def of(self, setting: SettingName) -> Measured:
        """One of the figures."""
        return next(m for m in self.measured if m.setting == setting)


def measure(
    paths: Sequence[AntennaPath],
    implement: Implement,
    boundary: BaseGeometry | None,
    *,
    at_tool: bool = False,
    switched: bool = True,
) -> Evidence:
    """Tell what the log does of where the tool is, when product arrives, and how wide it works.

    Parameters
    ----------
    paths : sequence of AntennaPath
        Of each machine.
    implement : Implement
        As told; its ``told`` says what of it.
    boundary : geometry or None
        In the plane.
    at_tool : bool
        The positions are the tool's own.
    switched : bool
        The log holds when work went on and off.
    """
    why = "tool_places" if at_tool else "several_machines" if len(paths) != 1 else ""
    if why:
        drill = _Drill(implement)
        nothing = [
            Measured(name, _UNITS[name], why_not=why, told=told) for name, told in drill.told()
        ]
        error = implement.error if at_tool else drill.error(None, None, None)
        return Evidence(tuple(nothing), error)
    path = paths[0]
    seams = find_seams(path, implement.width_m if implement.width_known else None)
    spacing = float(np.median(seams.spacing_m)) if len(seams.spacing_m) else implement.width_m
    ends = find_ends(path, spacing)
    shift = _shift(ends, spacing, boundary) if switched else None
    told_by = "pass_ends"
    steps = find_rate_steps(path)
    if shift is None and steps is not None:
        shift, told_by = _shift(steps, spacing, None), "rate_steps"
        ends = ends if shift is None else steps
    drill = _Drill(implement)
    left, width = drill.left(seams), drill.width(seams)
    if shift is None:
        why = _no_shift(ends) if switched else "no_switches"
        behind = Measured("behind", "m", why_not=why, told=drill.told_behind_m)
        lag = Measured("lag", "s", why_not=why, told=drill.told_lag_s)
        return Evidence((behind, left, lag, width), drill.error(None, left, None), seams, None)
    along = _Along(drill, ends, shift, told_by)
    behind, lag = along.measured()
    return Evidence((behind, left, lag, width), drill.error(along, left, lag, behind), seams, shift)


_UNITS: dict[SettingName, str] = {"behind": "m", "left": "m", "lag": "s", "width": "m"}


def applied(implement: Implement, measured: Sequence[Measured]) -> Implement:
    """The drill with what the log tells where the season says nothing."""
    used = {m.setting: m.value for m in measured if m.used and m.value is not None}
    if (behind := used.get("behind")) is not None:
        if behind > _MOUNTED_M:
            to_axle = _TO_AXLE * behind
            implement = replace(
                implement,
                antenna_ahead_m=_TO_PIN * behind,
                tow=(TowedUnit(to_axle),),
                tool_behind_m=behind - to_axle - _TO_PIN * behind,
            )
        else:
            implement = replace(implement, tool_behind_m=behind)
    if (left := used.get("left")) is not None:
        implement = replace(implement, antenna_left_m=left)
    if (lag := used.get("lag")) is not None:
        implement = replace(implement, product_lag_s=lag)
    return implement


def _shift(ends: PassEnds, width_m: float, boundary: BaseGeometry | None) -> Shift | None:
    shift = shift_of(ends, width_m)
    if shift is not None and len(shift.step_m) >= _FEWEST_ENDS:
        return shift
    return shift_to_boundary(ends, boundary) if boundary is not None else None


def _no_shift(ends: PassEnds) -> str:
    return "few_ends" if len(ends.x_m) < 2 * _FEWEST_ENDS else "same_way"


class _Drill:
    """What is told of a drill, and what the seams between passes add to it."""

    def __init__(self, implement: Implement) -> None:
        self.implement = implement
        self.told_behind_m = implement.behind_m if implement.tells("behind") else None
        self.told_left_m = implement.antenna_left_m if implement.tells("left") else None
        self.told_lag_s = implement.product_lag_s if implement.tells("lag") else None

    def told(self) -> list[tuple[SettingName, float | None]]:
        """Each setting with what is told of it."""
        width_m = self.implement.width_m if self.implement.width_known else None
        return [
            ("behind", self.told_behind_m),
            ("left", self.told_left_m),
            ("lag", self.told_lag_s),
            ("width", width_m),
        ]

    def left(self, seams: Seams) -> Measured:
        """Antenna left of the middle: half a quarter of what spacings alternate by."""
        facing, backed = seams.of(-1), seams.of(1)
        places, told = len(facing) + len(backed), self.told_left_m
        if min(len(facing), len(backed)) < _FEWEST_SEAMS:
            why = "same_way" if len(seams.of(0)) > places else "few_seams"
            return Measured("left", "m", why_not=why, places=places, told=told)
        value = (_middle(backed) - _middle(facing)) / 4
        # A pass that is off goes into a seam of either kind, once more and once less.
        sigma = float(np.sqrt(2.0) * np.hypot(_error(backed), _error(facing)) / 4)
        sure = float(stdtrit(places - 2, 0.999)) * sigma
        if abs(value) < max(sure, _LEAST_LEFT_M):
            # As it would be of steering that keeps the antenna, not the tool, on even lines. Passes
            # that tell of no width (their sigma is larger by the square root of 2) are not even.
            why = "uneven" if np.sqrt(2.0) * sigma > _UNEVEN_M else "even"
            return Measured("left", "m", why_not=why, sigma=sigma, places=places, told=told)
        off = abs(value - (told or 0.0))
        return Measured(
            "left",
            "m",
            value,
            sigma,
            how="seams",
            places=places,
            told=told,
            disagrees=told is not None and off > max(sure, _SURE * _LEAST_LEFT_M),
            used=told is None,
        )

    def width(self, seams: Seams) -> Measured:
        """Spacing of adjacent passes."""
        told = self.implement.width_m if self.implement.width_known else None
        facing, backed, same = (seams.of(side) for side in (-1, 1, 0))
        if min(len(facing), len(backed)) >= _FEWEST_SEAMS and len(same) < len(facing):
            value = (_middle(facing) + _middle(backed)) / 2
            sigma = float(np.hypot(_error(facing), _error(backed)) / 2)
        elif len(same) >= 2 * _FEWEST_SEAMS:
            value, sigma = _middle(same), _error(same)
        else:
            return Measured("width", "m", why_not="few_seams", places=len(seams.side), told=told)
        # Passes that lie scattered tell of no width.
        unlike = told is not None and abs(value - told) > max(_UNLIKE_WIDTH * told, _SURE * sigma)
        if sigma > _UNEVEN_M and not unlike:
            return Measured("width", "m", why_not="uneven", places=len(seams.side), told=told)
        return Measured(
            "width",
            "m",
            value,
            sigma,
            how="seams",
            places=len(seams.side),
            told=told,
            disagrees=unlike,
        )

    def error(
        self,
        along: _Along | None,
        left: Measured | None,
        lag: Measured | None,
        behind: Measured | None = None,
    ) -> SettingsError:
        """How far the figures used may be off."""
        error = self.implement.error
        if self.told_left_m is None:
            if left is not None and left.used and left.sigma is not None:
                error = replace(error, left_m=Doubt(left.sigma))
            elif self.told_behind_m is None:
                error = replace(error, left_m=Doubt(_UNKNOWN_LEFT_M))
        if along is None or behind is None or lag is None:
            if self.told_behind_m is None:
                error = replace(error, behind_m=Doubt(high=_UNKNOWN_BEHIND_M))
            if self.told_lag_s is None and self.told_behind_m is not None:
                error = replace(error, lag_s=Doubt(high=_UNKNOWN_LAG_S))
            return error
        # Together they are known as well as the pass ends are, whichever of them it is.
        speed, shown_m = along.shift.speed_mps, along.left_over_m(behind, lag)
        rest = shown_m if abs(shown_m) > _SURE * along.ends_sigma_m else 0.0
        # A hand is hardly late by just as much as the tool is behind.
        sigma = along.ends_sigma_m if behind.why_not == "at_antenna" else along.sigma_m
        doubt = Doubt(sigma, min(rest, 0.0), max(rest, 0.0))
        if self.told_behind_m is None:
            return replace(error, behind_m=doubt, lag_s=Doubt())
        if behind.disagrees and not _allows(error, shown_m, speed):
            return replace(error, behind_m=replace(doubt, sigma=error.behind_m.sigma))
        if self.told_lag_s is None:
            late = Doubt(along.sigma_m / speed, min(-rest, 0.0) / speed, max(-rest, 0.0) / speed)
            return replace(error, lag_s=late)
        return replace(error, together=Together(shown_m, along.sigma_m, speed))


def _allows(error: SettingsError, shown_m: float, speed_mps: float) -> bool:
    """Whether figures may well be as far off as the log shows."""
    behind, lag = error.behind_m, error.lag_s
    sure = _SURE * float(np.hypot(behind.sigma, lag.sigma * speed_mps))
    least, most = behind.low - lag.high * speed_mps, behind.high - lag.low * speed_mps
    return least - sure <= shown_m <= most + sure


class _Along:
    """Tool behind and delay, from where work went on and off along the passes."""

    def __init__(self, drill: _Drill, ends: PassEnds, shift: Shift, told_by: str) -> None:
        self.drill, self.shift, self.told_by = drill, shift, told_by
        speed = shift.speed_mps
        self.by_machine = ends.parted >= _PARTED_SHARE
        tick_m = speed * float(np.median(ends.wait_s)) / np.sqrt(12.0)
        # Records that keep step with the passes put all ends off alike.
        alike = max(tick_m**2 - shift.scatter_m**2, (tick_m / 2) ** 2) / 2
        self.ends_sigma_m = float(np.sqrt(shift.sigma_m**2 + alike))
        irregular_s = np.sqrt(max(shift.scatter_m**2 - tick_m**2, 0.0)) / speed
        regular = self.by_machine or (irregular_s < _REGULAR_S and tick_m < _REGULAR_S * 3 * speed)
        own_m = speed * (_MACHINE_S if regular else HAND_S)
        self.sigma_m = float(np.hypot(self.ends_sigma_m, own_m))
        self.late_m = _SURE * own_m if self.by_machine else speed * _LATE_S
        self.early_m = _SURE * own_m if self.by_machine else speed * _EARLY_S

    def left_over_m(self, behind: Measured, lag: Measured) -> float:
        """How much further behind the ends say the tool is than the figures used do."""
        told = self.drill
        used_m = behind.value if behind.used and behind.value is not None else told.told_behind_m
        used_s = lag.value if lag.used and lag.value is not None else told.told_lag_s
        return self.shift.behind_m - (used_m or 0.0) + (used_s or 0.0) * self.shift.speed_mps

    def measured(self) -> tuple[Measured, Measured]:
        """Tool behind, and delay."""
        shift, drill = self.shift, self.drill
        told_m, told_s = drill.told_behind_m, drill.told_lag_s
        places, speed = len(shift.step_m), shift.speed_mps
        behind = Measured(
            "behind", "m", places=places, told=told_m, together_m=shift.behind_m, speed_mps=speed
        )
        lag = replace(behind, setting="lag", unit="s", told=told_s)
        late_sigma = shift.per_speed_sigma_s
        if late_sigma <= _APART_S and speed * late_sigma <= 2 * _LEAST_BEHIND_M:
            return self._apart(behind, lag)
        if told_m is not None:
            return self._told_behind(behind, lag, told_m)
        # The tool is as far behind as the ends say, and a delay that is told puts it further.
        value = shift.behind_m + speed * (told_s or 0.0)
        lag = replace(lag, why_not="one_speed")
        sure = _SURE * self.ends_sigma_m
        if value - sure > max(self.late_m, _LEAST_BEHIND_M):
            how = self.told_by if told_s is not None else "together"
            found = replace(behind, value=value, sigma=self.sigma_m, how=how, used=True)
            return found, lag
        if value + sure < -max(self.early_m, _LEAST_BEHIND_M) and told_s is None:
            sigma = self.sigma_m / speed
            late = replace(
                lag, value=-value / speed, sigma=sigma, how="together", why_not="", used=True
            )
            return replace(behind, why_not="one_speed"), late
        if abs(value) > max(sure, _LEAST_BEHIND_M):
            return replace(behind, why_not="hand"), lag
        return replace(behind, why_not="at_antenna"), lag

    def _apart(self, behind: Measured, lag: Measured) -> tuple[Measured, Measured]:
        """Told apart by speeds: what does not depend on speed is the tool's place."""
        shift = self.shift
        late, late_sigma = shift.per_speed_s, shift.per_speed_sigma_s
        value = shift.behind_m + shift.speed_mps * late
        sigma = float(np.hypot(self.ends_sigma_m, shift.speed_mps * late_sigma))
        sure = _SURE * sigma
        told_m, told_s = behind.told, lag.told
        found = replace(
            behind,
            value=value,
            sigma=sigma,
            how="speeds",
            used=told_m is None and abs(value) > max(sure, _LEAST_BEHIND_M),
            disagrees=told_m is not None and abs(value - told_m) > np.hypot(sure, _SURE * _TAPE_M),
        )
        early = _MACHINE_S if self.by_machine else _EARLY_S
        own = late_sigma if self.by_machine else float(np.hypot(late_sigma, HAND_S))
        if late - _SURE * late_sigma <= max(early, _LEAST_LAG_S) and not self.by_machine:
            return found, replace(lag, why_not="hand" if late < 0 else "no_delay")
        delay = replace(
            lag,
            value=late,
            sigma=own,
            how="speeds",
            used=told_s is None and late > max(_SURE * late_sigma, _LEAST_LAG_S),
            disagrees=told_s is not None
            and abs(late - told_s) > np.hypot(_SURE * own, _SURE * _STOPWATCH_S),
        )
        return found, delay

    def _told_behind(
        self, behind: Measured, lag: Measured, told_m: float
    ) -> tuple[Measured, Measured]:
        """What is told of the tool's place gives the delay, or is doubted."""
        shift, told_s = self.shift, lag.told
        speed = shift.speed_mps
        rest = shift.behind_m - told_m + speed * (told_s or 0.0)
        sure = _SURE * float(np.hypot(self.ends_sigma_m, _TAPE_M))
        fits = replace(
            behind,
            value=told_m + rest,
            sigma=self.sigma_m,
            how=self.told_by if told_s is not None else "together",
        )
        if rest - sure > max(self.late_m, _LEAST_BEHIND_M):
            return replace(fits, disagrees=True), replace(lag, why_not="one_speed")
        if rest + sure < -self.early_m:
            if told_s is not None:
                return replace(fits, disagrees=True), replace(lag, why_not="one_speed")
            sigma = float(np.hypot(self.sigma_m, _TAPE_M) / speed)
            delay = replace(lag, value=-rest / speed, sigma=sigma, how="told_behind", used=True)
            return replace(behind, why_not="one_speed"), delay
        if abs(rest) > sure:
            fits = replace(behind, why_not="hand")
        return fits, replace(lag, why_not="one_speed")


def _middle(values: FloatArray) -> float:
    """Mean of the middle half."""
    low, high = np.percentile(values, [25, 75])
    return float(values[(values >= low) & (values <= high)].mean())


def _error(values: FloatArray) -> float:
    """Standard error of that, of values that scatter about as normal ones do."""
    if len(values) < 2:
        return float("inf")
    low, high = np.percentile(values, [25, 75])
    # 0.7413: the quartiles of a normal distribution; 1.17: what leaving out half of them costs.
    spread = 0.7413 * (high - low)
    if len(values) < _FEW:
        spread = max(spread, float(values.std(ddof=1)))
    return float(1.17 * spread / np.sqrt(len(values)))
