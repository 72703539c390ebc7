"""The ground that a catch stands for, from the options of ``calibrate``."""

from __future__ import annotations

import math
import re

from evenacre.cli.options.calibrate_texts import Reader, Texts
from evenacre.model import Implement
from evenacre.planning.calibration.meter_test import crank_area_m2, wheel_area_m2
from evenacre.planning.calibration.settings_lookup import setting_number
from evenacre.units.parsing import Dimension, unit_factor

_PER_AREA = re.compile(r"(?P<turns>[\d.,]+)\s*(?:turns?)?\s*(?:/|per)\s*(?P<unit>[A-Za-z].*)")


def ground_m2(
    read: Reader, texts: Texts, caught: int | None, implement: Implement | None
) -> float | None:
    """Ground that each catch stands for; None with a complaint.

    Parameters
    ----------
    read : Reader
    texts : Texts
    caught : int or None
        Openers caught one by one.
    implement : Implement or None
        Gives width and rows where the options do not.
    """
    width = read.quantity(texts.width, Dimension.LENGTH, "--width")
    spacing = read.quantity(texts.row_spacing, Dimension.LENGTH, "--row-spacing")
    rows = texts.rows
    if implement is not None and width is None and spacing is None:
        width = implement.width_m
        rows = rows or (implement.rows if implement.rows_known else None)
    for option, count in (("--rows", rows), ("--openers", texts.openers)):
        if count is not None and count < 1:
            read.complain(option, f"{count} is too few.", "Count them again.")
            return None
    if caught and texts.openers and caught != texts.openers:
        what = f"{texts.openers} openers were caught, but --opener-catch has {caught}."
        read.complain("--openers", what, "Give one catch for each.")
        return None
    openers = texts.openers or caught
    if openers and rows and openers > rows:
        read.complain("--openers", f"{openers} of {rows} rows were caught.", "Check both.")
        return None
    ways = [texts.area, texts.turns_per_area, texts.circumference, texts.wheel_diameter]
    if sum(way is not None for way in ways) != 1:
        read.complain(
            "",
            "It has to know the ground that the catch stands for, in one way.",
            'Give --turns and --turns-per-area "25/ac" for a crank test, --turns and '
            '--circumference "8 ft" for a wheel test, or --area "0.1 ac".',
        )
        return None
    if texts.area is None and texts.turns is None:
        read.complain("--turns", "It is missing.", "Say how often it was turned.")
        return None
    if texts.circumference is not None or texts.wheel_diameter is not None:
        return _wheel_ground(read, texts, openers, width, spacing, rows)
    if texts.openers and not rows:
        what = f"{openers} openers were caught, but of how many is not known."
        read.complain("--rows", what, "Give the number of rows, or leave --openers out.")
        return None
    part = openers / rows if openers and rows else 1.0
    if texts.area is not None:
        area = read.quantity(texts.area, Dimension.AREA, "--area")
        return None if area is None else area * part
    per_m2 = _turns_per_m2(read, texts.turns_per_area or "")
    return None if per_m2 is None else crank_area_m2(texts.turns or 0.0, per_m2) * part


def _wheel_ground(
    read: Reader,
    texts: Texts,
    openers: int | None,
    width: float | None,
    spacing: float | None,
    rows: int | None,
) -> float | None:
    around = read.quantity(texts.circumference, Dimension.LENGTH, "--circumference")
    across = read.quantity(texts.wheel_diameter, Dimension.LENGTH, "--wheel-diameter")
    if across is not None:
        around = across * math.pi
    spacing = spacing or (width / rows if width and rows else None)
    caught = openers or rows
    caught_width = spacing * caught if spacing and caught else (None if openers else width)
    if caught_width is None:
        read.complain(
            "--width",
            "The width that was caught is not known.",
            "Give --row-spacing and --openers, or --width (with --rows where not all were caught).",
        )
    if around is None or caught_width is None:
        return None
    return wheel_area_m2(around, texts.turns or 0.0, caught_width)


def _turns_per_m2(read: Reader, text: str) -> float | None:
    found = _PER_AREA.fullmatch(text.strip())
    factor = unit_factor(found["unit"], Dimension.AREA) if found else None
    if found is None or factor is None:
        what = f'"{text}" is not turns for a unit of ground.'
        read.complain("--turns-per-area", what, 'Write "25/ac" or "62/ha".')
        return None
    turns = setting_number(found["turns"])
    if turns is None:
        read.complain("--turns-per-area", f'"{text}" has no number above zero.', 'Write "25/ac".')
        return None
    return turns / factor
