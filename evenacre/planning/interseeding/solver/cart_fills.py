"""The cart: filled when it runs empty, a whole load at a time; a blend is not topped up."""

from __future__ import annotations

import numpy as np

from evenacre.model import FloatArray, IntArray

LOAD_TOLERANCE = 1e-6
"""Part of a load that no one goes back for: below the solver's own tolerance."""


def fills_through(used_kg: FloatArray, load_kg: float) -> IntArray:
    """Fills that it takes to have sown so much, whole loads each, from an empty cart.

    Parameters
    ----------
    used_kg : float array
        Seed sown so far.
    load_kg : float
    """
    return np.ceil(used_kg / load_kg - LOAD_TOLERANCE).astype(np.int64)


def sown_kg(
    wanted_kg: FloatArray,
    cart_kg: FloatArray,
    time_s: FloatArray,
    kg_per_s: float,
    load_kg: float | None,
    refill_s: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sow as much of ``wanted_kg`` as time allows, filling the cart whenever it runs empty.

    Closed form: what is in the cart, then whole rounds of a fill and a load, then part of one.

    Parameters
    ----------
    wanted_kg, cart_kg, time_s : float arrays of one shape
        Seed to be sown here, seed in the cart, time there is.
    kg_per_s : float
        Seed sown in a second of work.
    load_kg : float or None
        None: the cart never runs empty.
    refill_s : float

    Returns
    -------
    sown_kg, cart_kg, spent_s : float arrays
        Sown, left in the cart, and time it took with fills.
    """
    if load_kg is None:
        sown = np.minimum(wanted_kg, time_s * kg_per_s)
        return sown, cart_kg, sown / kg_per_s
    first = np.minimum(np.minimum(wanted_kg, cart_kg), time_s * kg_per_s)
    time = time_s - first / kg_per_s
    wanted = wanted_kg - first
    wanted = np.where((cart_kg - first > 0) | (wanted <= LOAD_TOLERANCE * load_kg), 0.0, wanted)
    round_s = refill_s + load_kg / kg_per_s
    rounds = np.floor(time / round_s)
    last = np.maximum(time - rounds * round_s - refill_s, 0.0) * kg_per_s
    later = np.minimum(wanted, rounds * load_kg + last)
    fills = np.ceil(later / load_kg - LOAD_TOLERANCE)
    left = cart_kg - first + fills * load_kg - later
    left = np.where(left <= LOAD_TOLERANCE * load_kg, 0.0, left)
    sown = first + later
    return sown, left, sown / kg_per_s + fills * refill_s
