"""When the drill was where, and what the meters were doing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.ndimage import gaussian_filter1d

from evenacre.sample_fields import spans
from evenacre.sample_fields.faults import Blocked, Fault, Refill
from evenacre.sample_fields.logbook import DrivenField
from evenacre.sample_fields.paths import FloatArray

WORK_MPS = 2.2
TURN_MPS = 1.5
TIGHT_MPS = 1.7
_SMOOTH_SAMPLES = 25


@dataclass(frozen=True)
class Wobble:
    """A slow variation about one: a few sines of fixed size and seeded phase."""

    sizes: tuple[float, ...]
    periods: tuple[float, ...]
    phases: FloatArray

    @classmethod
    def seeded(
        cls, rng: np.random.Generator, sizes: tuple[float, ...], periods: tuple[float, ...]
    ) -> Wobble:
        """A wobble with phases drawn from ``rng``."""
        return cls(sizes, periods, rng.uniform(0.0, 2.0 * np.pi, len(sizes)))

    def at(self, where: FloatArray) -> FloatArray:
        """The variation at each value."""
        total = np.ones_like(where)
        for size, period, phase in zip(self.sizes, self.periods, self.phases, strict=True):
            total += size * np.sin(2.0 * np.pi * where / period + phase)
        return total


@dataclass(frozen=True)
class Schedule:
    """Time along a drive.

    Attributes
    ----------
    time_s : (n,) float
        Seconds since the start at each point of the drive's path.
    blocked : list of (tower, start_s, end_s)
        Towers from 1 that stopped flowing.
    """

    drive: DrivenField
    time_s: FloatArray
    blocked: list[tuple[int, float, float]] = field(default_factory=list)

    def when(self, s: FloatArray) -> FloatArray:
        """Time at a distance along the path."""
        return np.interp(s, self.drive.path.s, self.time_s)

    def where(self, time_s: FloatArray) -> FloatArray:
        """Distance along the path at a time."""
        return np.interp(time_s, self.time_s, self.drive.path.s)


def schedule(drive: DrivenField, faults: Sequence[Fault], rng: np.random.Generator) -> Schedule:
    """Give a drive its speeds, its stops and the times of its blockages."""
    path = drive.path
    working = np.any([spans.contains(on, path.s) for on in drive.on], axis=0)
    speed = np.where(working, WORK_MPS, TURN_MPS)
    speed = np.where(np.abs(path.curvature) > 0.01, np.minimum(speed, TIGHT_MPS), speed)
    speed = gaussian_filter1d(speed, _SMOOTH_SAMPLES)
    speed *= Wobble.seeded(rng, (0.02, 0.01), (190.0, 41.0)).at(path.s)
    stops = [
        (drive.passes[f.after_pass][1] + 4.0, f.seconds) for f in faults if isinstance(f, Refill)
    ]
    for at, _ in stops:
        speed *= 1.0 - 0.95 * np.exp(-(((path.s - at) / 2.0) ** 2))
    time_s = cumulative_trapezoid(1.0 / speed, path.s, initial=0.0)
    for at, seconds in stops:
        time_s = time_s + np.where(path.s > at, seconds, 0.0)
    timed = Schedule(drive, time_s)
    for fault in faults:
        if isinstance(fault, Blocked):
            start = float(timed.when(np.array(drive.passes[fault.on_pass][0] + fault.after_m)))
            start = round(start)
            timed.blocked.append((fault.tower, start, start + fault.seconds))
    return timed
