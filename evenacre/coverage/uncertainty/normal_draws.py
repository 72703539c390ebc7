"""Draws at random, each with its mirror image."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from evenacre.model import FloatArray

# Each draw is used with its mirror image, so that nothing linear is shifted by chance.
_HALF_DRAWS = 200
DRAWS = 2 * _HALF_DRAWS
"""How many there are of everything."""
# So many variables are brought to unit variance at a time, for memory.
_BLOCK = 4096


def half_normal(rng: np.random.Generator, count: int) -> FloatArray:
    """Half of the draws of `normal`, (count, n / 2), without their mirror images."""
    half = rng.normal(size=(count, _HALF_DRAWS))
    if count <= _HALF_DRAWS // 2:
        return np.asarray(np.linalg.qr(half.T)[0].T * np.sqrt(_HALF_DRAWS))
    for some in np.array_split(half, -(-count // _BLOCK)):
        some /= np.sqrt((some**2).mean(axis=1, keepdims=True))
    return half


def normal(rng: np.random.Generator, count: int) -> FloatArray:
    """Normal draws of some variables, (count, n), in mirrored pairs, each of unit variance.

    Where few enough they are uncorrelated to the last digit, too.
    """
    half = half_normal(rng, count)
    return np.concatenate([half, -half], axis=1)


def uniform(rng: np.random.Generator, count: int) -> FloatArray:
    """Draws between 0 and 1, alike."""
    return np.asarray(ndtr(normal(rng, count)))
