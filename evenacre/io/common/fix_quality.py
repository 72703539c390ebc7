"""What a receiver's kind of fix says about its positions."""

from __future__ import annotations

import numpy as np

from evenacre.io.common.findings import Findings, counted
from evenacre.model import FloatArray, IntArray

NO_FIX, AUTONOMOUS, DIFFERENTIAL, PRECISE, RTK_FIXED = 0, 1, 2, 3, 4
RTK_FLOAT, ESTIMATED, TYPED_IN, SIMULATED = 5, 6, 7, 8
NOT_TOLD = 15
"""Kinds of fix, numbered as in the quality field of the GGA sentence (IEC 61162-1) and the
position status of ISO 11783-10."""

_NAMES = {
    AUTONOMOUS: "without correction",
    DIFFERENTIAL: "differential",
    PRECISE: "precise",
    RTK_FIXED: "RTK fixed",
    RTK_FLOAT: "RTK float",
    ESTIMATED: "estimated while there was no fix",
    TYPED_IN: "typed in by hand",
    SIMULATED: "from a simulator",
}
# Metres, one standard deviation, horizontal (common practice, no source).
_SIGMA_M = {
    AUTONOMOUS: 2.0,
    DIFFERENTIAL: 0.6,
    PRECISE: 0.6,
    RTK_FIXED: 0.02,
    RTK_FLOAT: 0.2,
    ESTIMATED: 5.0,
}
_COARSE_M = 0.1
_DOUBTFUL = (ESTIMATED, TYPED_IN, SIMULATED)


def position_sigma_m(quality: IntArray) -> FloatArray:
    """Standard uncertainty of positions from their kind of fix, NaN where it is not told.

    Parameters
    ----------
    quality : (n,) int
        Numbers of this module.
    """
    table = np.full(max(NOT_TOLD, int(quality.max(initial=0))) + 1, np.nan)
    for kind, sigma in _SIGMA_M.items():
        table[kind] = sigma
    return np.asarray(table[np.clip(quality, 0, None)], dtype=float)


def report_quality(file: str, quality: IntArray, findings: Findings) -> None:
    """Say of what kinds the used positions are, and warn of those that are off by decimetres.

    Parameters
    ----------
    quality : (n,) int
        Of the positions that are used.
    """
    kinds, counts = np.unique(quality, return_counts=True)
    told = [(int(k), int(c)) for k, c in zip(kinds, counts, strict=True) if k in _NAMES]
    if not told:
        findings.note(f"{file}: the kind of fix (RTK, differential ...) is not told.")
        return
    told.sort(key=lambda pair: -pair[1])
    listing = ", ".join(f"{count / len(quality):.1%} {_NAMES[kind]}" for kind, count in told)
    if told[0][1] == len(quality):
        findings.note(f"{file}: all positions are {_NAMES[told[0][0]]}.")
    else:
        findings.note(f"{file}: positions are {listing}.")
    for kind, count in told:
        if kind in _DOUBTFUL:
            findings.warn(
                f"{file}: {counted(count, 'position', 'are')} {_NAMES[kind]}; do not trust the "
                "ground they show."
            )
    coarse = sum(count for kind, count in told if _SIGMA_M.get(kind, 0.0) > _COARSE_M)
    if coarse:
        worst = max(_SIGMA_M.get(kind, 0.0) for kind, _ in told)
        findings.warn(
            f"{file}: {counted(coarse, 'position', 'are')} not RTK fixed and may be off by "
            f"{worst:g} m or more; skips and overlaps narrower than that may not be real."
        )
