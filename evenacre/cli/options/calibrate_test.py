"""The options of ``calibrate`` in SI, with every complaint at once."""

from __future__ import annotations

import re
from collections.abc import Sequence

from evenacre.cli.options.calibrate_area import ground_m2
from evenacre.cli.options.calibrate_texts import Reader, Texts
from evenacre.errors import InputError
from evenacre.io.common.years import read_day
from evenacre.model import Implement, PastSetting, Product
from evenacre.planning.calibration.calibrate import CalibrationJob
from evenacre.planning.calibration.compartments import mass_kg, usual_bulk_density
from evenacre.planning.calibration.meter_test import MeterTest
from evenacre.planning.calibration.settings_lookup import setting_number
from evenacre.units.parsing import Dimension, unit_factor


def read_options(
    texts: Texts, product: Product | None = None, implement: Implement | None = None
) -> tuple[CalibrationJob, tuple[str, ...]]:
    """Turn options into a job.

    Parameters
    ----------
    texts : Texts
    product : Product or None
        As the season file knows it.
    implement : Implement or None
        The drill of the season file.

    Returns
    -------
    job : CalibrationJob
    notes : tuple of str
        What was taken from elsewhere.

    Raises
    ------
    InputError
        With every complaint at once.
    """
    read = Reader()
    notes: list[str] = []
    density = _density(read, texts, product, notes)
    parted = _parted(read, texts)
    about = PastSetting(
        product=texts.product,
        date=texts.date,
        bulk_density_kg_per_m3=density,
        roller=texts.roller,
        setting=texts.setting,
        fan=texts.fan,
        down_pressure=texts.down_pressure,
        speed_mps=read.quantity(texts.speed, Dimension.SPEED, "--speed"),
        target_kg_per_m2=read.quantity(texts.target, Dimension.MASS_PER_AREA, "--target"),
        trouble=texts.trouble,
    )
    try:
        read_day(texts.date)
    except ValueError as error:
        read.complain("--date", str(error), "Write it as 2026-04-14.")
    if not 0 < texts.tolerance < 100:
        read.complain("--tolerance", f"{texts.tolerance:g} % is no tolerance.", "Give 5, or so.")
    job = CalibrationJob(
        about=about,
        test=_test(read, texts, parted, implement),
        opener_catches_kg=parted,
        tolerance=texts.tolerance / 100,
        tested=_tested(read, texts),
        fills_kg=_fills(read, texts, density, implement),
        compartments_kg=dict(_contents(read, texts.compartment, "--compartment", density)),
        allow_far=texts.beyond,
    )
    if read.problems:
        raise InputError(read.problems)
    return job, tuple(notes)


def _density(read: Reader, texts: Texts, product: Product | None, notes: list[str]) -> float | None:
    if texts.bulk_density is not None:
        return read.quantity(texts.bulk_density, Dimension.MASS_PER_VOLUME, "--bulk-density")
    if product is not None and product.bulk_density_kg_per_m3:
        return product.bulk_density_kg_per_m3
    usual = usual_bulk_density(texts.product)
    if usual is None:
        return None
    notes.append(
        f"The bulk density is the usual one of {usual[0]} (University of Missouri Extension "
        "G4020). Weigh a level pail of your lot and give --bulk-density."
    )
    return usual[1]


def _parted(read: Reader, texts: Texts) -> tuple[tuple[float, ...], ...]:
    option = "--opener-catch"
    tests = [read.quantities(t, Dimension.MASS, option, zero=True) for t in texts.opener_catches]
    if len({len(test) for test in tests if test}) > 1:
        read.complain(option, "The tests have different numbers of openers.", "Give all of each.")
        return ()
    if any(test and sum(test) <= 0 for test in tests):
        read.complain(option, "Nothing was caught.", "Check the drive of the meter.")
        return ()
    return tuple(tuple(test) for test in tests if test)


def _test(
    read: Reader, texts: Texts, parted: tuple[tuple[float, ...], ...], implement: Implement | None
) -> MeterTest | None:
    catches = [kg for t in texts.catches for kg in read.quantities(t, Dimension.MASS, "--catch")]
    if texts.catches and texts.opener_catches:
        read.complain(
            "--catch",
            "It does not go with --opener-catch.",
            "Their sum is the catch: leave it out.",
        )
    if not texts.catches and not texts.opener_catches:
        return None
    resolution = read.quantity(texts.scale, Dimension.MASS, "--scale") or 0.0
    if texts.turns is not None and not 0 < texts.turns < 1e9:
        read.complain("--turns", f"{texts.turns:g} turns are no test.", "Count them again.")
        return None
    area = ground_m2(read, texts, len(parted[0]) if parted else None, implement)
    catches = catches or [sum(test) for test in parted]
    if area is None or not catches:
        return None
    # Each opener is read off the scale once, so their steps add up.
    step = resolution * (len(parted[0]) ** 0.5 if parted else 1.0)
    return MeterTest(tuple(catches), area, texts.turns, step)


def _tested(read: Reader, texts: Texts) -> tuple[tuple[float, float], ...]:
    option, form = "--tested", "SETTING=RATE, such as 35=21.4lb/ac"
    tested: list[tuple[float, float]] = []
    if texts.tested and setting_number(texts.setting) is None:
        read.complain("--setting", "It has to be a number beside --tested.", "Give it.")
    for text in texts.tested:
        pair = read.named(text, option, form)
        if pair is None:
            continue
        setting = setting_number(pair[0])
        if setting is None:
            read.complain(option, f'"{pair[0]}" is no setting in numbers.', f"Write {form}.")
            continue
        rates = read.quantities(pair[1], Dimension.MASS_PER_AREA, option)
        tested += [(setting, rate) for rate in rates]
    return tuple(tested)


def _fills(
    read: Reader, texts: Texts, density: float | None, implement: Implement | None
) -> dict[str, float]:
    if texts.fill or implement is None or density is None:
        names = [f"fill {n}" for n in range(1, len(texts.fill) + 1)]
        if len(names) == 1:
            names = ["a fill"]
        named = [
            text if "=" in text else f"{name}={text}"
            for name, text in zip(names, texts.fill, strict=True)
        ]
        return dict(_contents(read, named, "--fill", density))
    return {bin_.name: mass_kg(bin_.volume_m3, density) for bin_ in implement.compartments}


def _contents(
    read: Reader, texts: Sequence[str], option: str, density: float | None
) -> list[tuple[str, float]]:
    """Names and masses of ``front=7000 lb`` or, with a bulk density, ``front=180 bu``."""
    contents: list[tuple[str, float]] = []
    for text in texts:
        pair = read.named(text, option, "NAME=AMOUNT, such as front=180bu")
        if pair is None:
            continue
        name, amount = pair
        if name in dict(contents):
            read.complain(option, f'"{name}" is there twice.', "Give each its own name.")
        unit = re.sub(r"^[\d.,\s]+", "", amount)
        if unit_factor(unit, Dimension.VOLUME) is None:
            kg = read.quantity(amount, Dimension.MASS, option)
        elif density is None:
            what = f'"{amount}" is a volume, and the bulk density is not known.'
            read.complain(option, what, 'Give --bulk-density "48 lb/bu", or a mass.')
            continue
        else:
            volume = read.quantity(amount, Dimension.VOLUME, option)
            kg = None if volume is None else mass_kg(volume, density)
        if kg is not None:
            contents.append((name, kg))
    return contents
