"""What a receiver's kind of fix says about its positions."""

from __future__ import annotations

import numpy as np

from evenacre.io.common.findings import Findings
from evenacre.language import tr, trn
from evenacre.model import FloatArray, IntArray

NO_FIX, AUTONOMOUS, DIFFERENTIAL, PRECISE, RTK_FIXED = 0, 1, 2, 3, 4
RTK_FLOAT, ESTIMATED, TYPED_IN, SIMULATED = 5, 6, 7, 8
NOT_TOLD = 15
"""Kinds of fix, numbered as in the quality field of the GGA sentence (IEC 61162-1) and the
position status of ISO 11783-10."""

# Name, and metres of one standard deviation, horizontal (common practice, no source).
_KINDS = {
    AUTONOMOUS: ("without correction", 2.0),
    DIFFERENTIAL: ("differential", 0.6),
    PRECISE: ("precise", 0.6),
    RTK_FIXED: ("RTK fixed", 0.02),
    RTK_FLOAT: ("RTK float", 0.2),
    ESTIMATED: ("estimated while there was no fix", 5.0),
    TYPED_IN: ("typed in by hand", None),
    SIMULATED: ("from a simulator", None),
}
_COARSE_M = 0.1


_DILUTION = (1.0, 10.0)


def position_sigma_m(quality: IntArray, hdop: FloatArray | None = None) -> FloatArray:
    """Standard uncertainty of positions from their kind of fix, NaN where it is not told.

    Parameters
    ----------
    quality : (n,) int
    hdop : (n,) float, optional
        Horizontal dilution of precision, by which the errors of distances to the satellites grow;
        NaN where it is not told. The figures for the kinds hold up to 1.
    """
    table = np.full(max(NOT_TOLD, int(quality.max(initial=0))) + 1, np.nan)
    for kind, (_, sigma) in _KINDS.items():
        table[kind] = np.nan if sigma is None else sigma
    sigma_m = np.asarray(table[np.clip(quality, 0, None)], dtype=float)
    return sigma_m if hdop is None else sigma_m * np.clip(np.nan_to_num(hdop), *_DILUTION)


def usual_dilution(quality: IntArray, hdop: FloatArray | None) -> float | None:
    """Median dilution of positions whose kind of fix is not told; None where it is, or no dilution.

    Parameters
    ----------
    quality : (n,) int
    hdop : (n,) float or None
        NaN where it is not told.
    """
    if hdop is None or (quality != NOT_TOLD).any() or not (hdop > 0).any():
        return None
    return float(np.clip(np.median(hdop[hdop > 0]), *_DILUTION))


def report_quality(file: str, quality: IntArray, findings: Findings) -> None:
    """Say of what kinds the used positions are, and warn of those that are off by decimetres."""
    kinds, counts = np.unique(quality, return_counts=True)
    told = [
        (int(count), kind, *_KINDS[kind])
        for kind, count in zip(kinds.tolist(), counts, strict=True)
        if kind in _KINDS
    ]
    if not told:
        findings.note(tr("{file}: the kind of fix (RTK, differential ...) is not told.", file=file))
        return
    told.sort(key=lambda entry: -entry[0])
    if told[0][0] == len(quality):
        findings.note(tr("{file}: all positions are {told}.", file=file, told=told[0][2]))
    else:
        shares = ", ".join(
            f"{100 * count / len(quality):.1f} % {name}" for count, _, name, _ in told
        )
        findings.note(tr("{file}: positions are {shares}.", file=file, shares=shares))
    for count, kind, name, _ in told:
        if kind in (ESTIMATED, TYPED_IN, SIMULATED):
            findings.warn(
                tr(
                    "{file}: {positions} {name}; do not trust the ground they show.",
                    file=file,
                    positions=trn("{count:,} position is", "{count:,} positions are", count),
                    name=name,
                )
            )
    coarse = [(count, sigma) for count, _, _, sigma in told if sigma and sigma > _COARSE_M]
    if coarse:
        worst = max(sigma for _, sigma in coarse)
        findings.warn(
            tr(
                "{file}: {positions} not RTK fixed and may be off by {worst:g} m or more; "
                "skips and overlaps narrower than that may not be real.",
                file=file,
                positions=trn(
                    "{count:,} position is",
                    "{count:,} positions are",
                    sum((count for count, _ in coarse)),
                ),
                worst=worst,
            )
        )
