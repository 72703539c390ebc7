"""What a drift with a memory is over stretches of work, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from evenacre.coverage.uncertainty.drift import OVER_A_STRETCH, Drift

MEMORY_S, SIGMA_M = 600.0, 0.3


def two_stretches(lasts_s: float, between_s: float, seed: int = 0) -> Drift:
    begins = np.array([0.0, lasts_s + between_s])
    when = begins[:, None] + lasts_s * OVER_A_STRETCH
    return Drift.of(
        np.random.default_rng(seed), np.full(2, SIGMA_M), when, np.zeros(2, int), MEMORY_S
    )


@pytest.mark.parametrize("lasts_s", [30.0, 80.0, 200.0])
def test_the_mean_over_a_stretch_of_a_first_order_process(lasts_s: float) -> None:
    """Its covariance is the integral of exp(-|t - u| / T) over both stretches."""
    drift = two_stretches(lasts_s, 25.0)
    x = lasts_s / MEMORY_S
    own = 2 * (x - 1 + np.exp(-x)) / x**2
    later = np.exp(-(lasts_s + 25.0) / MEMORY_S) * (np.sinh(x / 2) / (x / 2)) ** 2
    told = SIGMA_M**2 * np.array([[own, later], [later, own]])
    assert drift.covariance(np.array([0, 1])) == pytest.approx(told, rel=0.02)
    # What is not in the mean is within the stretch: together they are the whole.
    assert drift.left_m**2 == pytest.approx(SIGMA_M**2 * (1 - own), rel=0.08)


def test_drifts_are_drawn_as_they_covary() -> None:
    drawn = np.concatenate([two_stretches(80.0, 25.0, seed).drawn_m for seed in range(20)], axis=2)
    told = two_stretches(80.0, 25.0).covariance(np.array([0, 1]))
    for axis in drawn:
        assert np.cov(axis) == pytest.approx(told, rel=0.06)


def test_a_drift_without_a_memory_is_all_in_the_means() -> None:
    sigma = np.array([0.1, 0.2])
    drift = Drift.of(np.random.default_rng(0), sigma, np.zeros((2, 3)), np.arange(2), None)
    assert drift.covariance(np.array([0, 1])) == pytest.approx(np.diag(sigma**2))
    assert drift.left_m == 0.0


def test_without_a_memory_all_parts_of_a_pass_are_off_alike() -> None:
    owner, sigma = np.array([1, 1, 2]), np.full(3, SIGMA_M)
    drift = Drift.of(np.random.default_rng(0), sigma, np.zeros((3, 3)), owner, None)
    assert (drift.drawn_m[:, 0] == drift.drawn_m[:, 1]).all()
    alike = SIGMA_M**2 * np.array([[1, 1, 0], [1, 1, 0], [0, 0, 1]])
    assert drift.covariance(np.arange(3)) == pytest.approx(alike)
    for axis in drift.drawn_m:
        assert np.cov(axis) == pytest.approx(alike, abs=0.2 * SIGMA_M**2)
