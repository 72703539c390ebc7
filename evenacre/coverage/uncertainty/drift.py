"""What a receiver errs by from pass to pass: anew in each, or slowly."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from evenacre.coverage.uncertainty.normal_draws import normal
from evenacre.model import FloatArray, IntArray

OVER_A_STRETCH = 0.5 + np.sqrt(0.15) * np.array([-1.0, 0.0, 1.0])
"""Shares of a stretch where values make, weighed, the mean over it (Gauss and Legendre)."""

_WEIGHTS = np.array([5.0, 8.0, 5.0]) / 18
# Receivers that err by this drift from pass to pass, nobody knows how slowly: each pass may have an
# error of its own, or share it with others over some such time (common practice, no source).
_DRIFTING_M, _SLOW_S = 0.1, 600.0
# Then passes are one unit for so long.
WHOLE_S = _SLOW_S / 5


@dataclass(frozen=True)
class Drift:
    """Errors of the units along both axes, drawn, (2, units, n), and what they come from.

    A unit is a stretch of work, of a standard deviation ``sigma_m``, (units,). Where the error has
    a memory (a first-order process; None: each pass errs by itself), that of a unit is the mean
    over it, of values at ``when_s``, (units, 3). ``owner`` is the pass of each.
    """

    drawn_m: FloatArray
    sigma_m: FloatArray
    when_s: FloatArray
    owner: IntArray
    memory_s: float | None

    @classmethod
    def of(
        cls,
        rng: np.random.Generator,
        sigma: FloatArray,
        when: FloatArray,
        owner: IntArray,
        memory_s: float | None,
    ) -> Drift:
        """Drawn freely."""
        if memory_s is None:
            passes, of = np.unique(owner, return_inverse=True)
            drawn = normal(rng, 2 * len(passes)).reshape(2, len(passes), -1)[:, of]
        else:
            at = normal(rng, 2 * when.size).reshape(2, when.size, -1)
            order = np.argsort(when, axis=None, kind="stable")
            keep = np.exp(-np.diff(when.ravel()[order]) / memory_s)
            for k, (a, b) in enumerate(itertools.pairwise(order)):
                at[:, b] = keep[k] * at[:, a] + np.sqrt(1 - keep[k] ** 2) * at[:, b]
            drawn = np.einsum("kutn,t->kun", at.reshape(2, *when.shape, -1), _WEIGHTS)
        return cls(sigma[:, None] * drawn, sigma, when, owner, memory_s)

    def covariance(self, units: IntArray) -> FloatArray:
        """Of every unit with some, (all, some)."""
        if self.memory_s is None:
            alike = (self.owner[:, None] == self.owner[units]).astype(float)
        else:
            alike = np.zeros((len(self.sigma_m), len(units)))
            for a, b in itertools.product(range(3), repeat=2):
                apart = np.abs(self.when_s[:, a, None] - self.when_s[units, b])
                alike += _WEIGHTS[a] * _WEIGHTS[b] * np.exp(-apart / self.memory_s)
        return np.asarray(self.sigma_m[:, None] * alike * self.sigma_m[units])

    @property
    def left_m(self) -> float:
        """What errors lie off the means of their units, as a rule."""
        if self.memory_s is None:
            return 0.0
        apart = np.abs(self.when_s[:, :, None] - self.when_s[:, None])
        alike = np.einsum("uab,a,b->u", np.exp(-apart / self.memory_s), _WEIGHTS, _WEIGHTS)
        return float(np.median(self.sigma_m * np.sqrt(1 - alike)))


def may_be_slow(sigma_m: FloatArray, memory_s: float | None) -> bool:
    """Whether receivers of such errors may drift slowly, which nobody said."""
    return memory_s is None and bool(np.median(sigma_m) >= _DRIFTING_M)


def draw_drifts(
    rng: np.random.Generator,
    sigma: FloatArray,
    when: FloatArray,
    owner: IntArray,
    memory_s: float | None,
) -> list[Drift]:
    """Drifts of one memory or, where it may be any, of none and of a long one."""
    memories = [memory_s, _SLOW_S] if may_be_slow(sigma, memory_s) else [memory_s]
    return [Drift.of(rng, sigma, when, owner, memory) for memory in memories]
