"""Columns that tell how good the fixes are."""

from __future__ import annotations

import re

import numpy as np

from evenacre.errors import InputError
from evenacre.io.common import fix_quality as fix
from evenacre.io.common.arrow_arrays import coded
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.column_roles import ColumnPlan, ColumnUse
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr
from evenacre.model import FloatArray, IntArray

# What words of the trade say of a fix, the surest first; a fix in two or three dimensions may have
# corrections or none.
_WORDS = (
    (r"no|none|no[ _-]?fix|invalid|lost", fix.NO_FIX),
    (r".*\bfloat.*|rtk[ _-]?float", fix.RTK_FLOAT),
    (r"(rtk|fixed)\b.*|.*\brtk([ _-]?(fix|fixed|int|integer))?|fixed", fix.RTK_FIXED),
    (r"ppp.*|pps|precise.*", fix.PRECISE),
    (r"d-?gps.*|dgnss.*|differential.*|sbas.*|waas|egnos|corrected", fix.DIFFERENTIAL),
    (r"autonomous|stand[ _-]?alone|single|sps|uncorrected|gps|gnss|gps fix", fix.AUTONOMOUS),
    (r"estimated|dead reckoning", fix.ESTIMATED),
)
_NUMBERED = ("quality",)  # names whose numbers are those of the GGA sentence
# Share of normal errors of two axes within a radius of so many standard deviations of one: 68 %.
_RADIUS = float(np.sqrt(-2 * np.log(1 - 0.68)))


def logged_quality(
    table: RecordTable, plan: ColumnPlan, findings: Findings
) -> tuple[FloatArray | None, float | None]:
    """Standard uncertainty of each position, by its own accuracy or its kind of fix.

    An accuracy is the radius that holds 68 % of the errors, as receivers of phones give it. Where
    there is neither, the usual dilution is all that may be told.
    """
    sigma_m: FloatArray | None = None
    hdop = _numbers(table, plan.get("hdop"), findings)
    quality = np.full(len(table), fix.NOT_TOLD)
    if use := plan.get("quality"):
        quality = _kinds(table, use, findings)
        if (quality != fix.NOT_TOLD).any():
            fix.report_quality(table.file, quality, findings)
            sigma_m = fix.position_sigma_m(quality, hdop)
    radius_m = _numbers(table, plan.get("accuracy"), findings)
    if radius_m is not None:
        own_m = np.where(radius_m > 0, radius_m / _RADIUS, np.nan)
        sigma_m = own_m if sigma_m is None else np.where(np.isfinite(own_m), own_m, sigma_m)
    if sigma_m is None or not np.isfinite(sigma_m).any():
        return None, fix.usual_dilution(quality, hdop)
    return sigma_m, None


def _numbers(table: RecordTable, use: ColumnUse | None, findings: Findings) -> FloatArray | None:
    """Numbers of a column in SI; None where it is guessed and holds something else."""
    if use is None or not (use.asked or table.holds_numbers(use.column)):
        return None
    try:
        return table.numbers(use.column, use.meaning, findings) * (use.unit or 1.0)
    except InputError:
        if use.asked:
            raise
        return None


def _kinds(table: RecordTable, use: ColumnUse, findings: Findings) -> IntArray:
    """Kind of fix of each record, numbered as in :mod:`evenacre.io.common.fix_quality`."""
    number = _numbers(table, use, findings)
    if number is not None:
        if not (use.asked or any(word in use.column.lower() for word in _NUMBERED)):
            findings.note(
                tr(
                    "{about} holds numbers, and what they say of the fix is not known. If "
                    "they are those of GGA sentences, give --column 'quality={column}'.",
                    about=table.about(use.column),
                    column=use.column,
                )
            )
            return np.full(len(table), fix.NOT_TOLD)
        known = np.isin(number, np.arange(fix.NO_FIX, fix.SIMULATED + 1))
        return np.where(known, np.nan_to_num(number), fix.NOT_TOLD).astype(np.int64)
    codes, words = coded(table.text(use.column))
    kinds = [
        next((k for words_, k in _WORDS if re.fullmatch(words_, w.strip().lower())), fix.NOT_TOLD)
        for w in words
    ]
    return np.array([*kinds, fix.NOT_TOLD], dtype=np.int64)[codes]
