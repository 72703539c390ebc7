"""The options of ``calibrate`` in SI, with everything that is wrong at once."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Iterable

from evenacre.errors import InputError, Problem
from evenacre.io.common.years import read_day
from evenacre.language import tr
from evenacre.model import Implement, PastSetting, Product
from evenacre.planning.calibration.calibrate import CalibrationJob
from evenacre.planning.calibration.compartments import mass_kg, usual_bulk_density
from evenacre.planning.calibration.meter_test import MeterTest, crank_area_m2, wheel_area_m2
from evenacre.planning.calibration.next_setting import setting_number
from evenacre.units.parsing import Dimension, parse_quantity, unit_factor
from evenacre.workflows.typed.calibrate_options import CalibrateOptions

_LIST = re.compile(r"(?P<numbers>[\d.,]+(?:[\s;]+[\d.,]+)+)\s*(?P<unit>[A-Za-z].*)")
_PER_AREA = re.compile(r"(?P<turns>[\d.,]+)\s*(?:turns?)?\s*(?:/|per)\s*(?P<unit>[A-Za-z].*)")


def read_options(
    options: CalibrateOptions, product: Product | None = None, implement: Implement | None = None
) -> tuple[CalibrationJob, tuple[str, ...]]:
    """Turn options into a job, with notes of what was taken from elsewhere.

    ``product`` and ``implement`` are as the season file knows them.

    Raises
    ------
    InputError
        With everything that is wrong, at once.
    """
    reader = _Reader(options, product, implement)
    job = reader.job()
    if reader.problems:
        raise InputError(reader.problems)
    return job, tuple(reader.notes)


def check_asked(
    job: CalibrationJob, drill: Implement | None, *, lookup: bool, no_book: bool
) -> None:
    """Refuse a question that lacks what it needs."""
    about = job.about
    if lookup:
        if job.test is not None:
            what, remedy = tr("A catch is no question."), tr("Leave out --lookup, or the catch.")
            raise InputError.at("calibrate", "--lookup", what, remedy)
        if about.target_kg_per_m2 is None or not (about.product or about.bulk_density_kg_per_m3):
            what = tr("It has to know the rate, and the product or its bulk density.")
            remedy = tr('Give --target "25 lb/ac" and --product or --bulk-density.')
            raise InputError.at("calibrate", "--lookup", what, remedy)
        return
    fills = about.target_kg_per_m2 is not None and bool(job.fills_kg or job.compartments_kg)
    if job.test is None and not fills:
        bins = drill is not None and bool(drill.compartments)
        if bins and about.target_kg_per_m2 is not None and about.bulk_density_kg_per_m3 is None:
            what = tr(
                "What a fill of {product} weighs is not known.",
                product=about.product or "the product",
            )
            remedy = tr('Give --bulk-density "48 lb/bu", or bulk_density in the season file.')
            raise InputError.at("calibrate", "--bulk-density", what, remedy)
        what = tr("There is nothing to work out.")
        remedy = tr(
            'Give a catch, such as --catch "4.2 lb"; or --target with --fill or --compartment.'
        )
        raise InputError.at(
            "calibrate", "", what, tr("{remedy} To ask the book, add --lookup.", remedy=remedy)
        )
    if job.test is not None and not about.product and not no_book:
        what, remedy = (
            tr("The book has to know what was metered."),
            tr("Give it, or add --no-book."),
        )
        raise InputError.at("calibrate", "--product", what, remedy)


class _Reader:
    """Reads options and keeps what is wrong with them."""

    def __init__(
        self, options: CalibrateOptions, product: Product | None, implement: Implement | None
    ) -> None:
        self.options, self.product, self.implement = options, product, implement
        self.problems: list[Problem] = []
        self.notes: list[str] = []

    def refuse(self, option: str, what: str, remedy: str) -> None:
        self.problems.append(Problem("calibrate", option, what, remedy))

    def job(self) -> CalibrationJob:
        options = self.options
        density = self.density()
        parted = self.opener_catches()
        date = options.date.strip() or dt.date.today().isoformat()
        about = PastSetting(
            product=options.product.strip(),
            date=date,
            bulk_density_kg_per_m3=density,
            roller=options.roller.strip(),
            setting=options.setting.strip(),
            fan=options.fan.strip(),
            down_pressure=options.down_pressure.strip(),
            speed_mps=self.quantity(options.speed, Dimension.SPEED, "--speed"),
            target_kg_per_m2=self.quantity(options.target, Dimension.MASS_PER_AREA, "--target"),
            trouble=options.trouble.strip(),
        )
        try:
            read_day(date)
        except ValueError as error:
            self.refuse("--date", str(error), tr("Write it as 2026-04-14."))
        if not 0 < options.tolerance < 100:
            what = tr("{tolerance:g} % is no tolerance.", tolerance=options.tolerance)
            self.refuse("--tolerance", what, "Give 5, or so.")
        return CalibrationJob(
            about=about,
            test=self.test(parted),
            opener_catches_kg=parted,
            rows_per_tower=self.rows_per_tower(parted),
            tolerance=options.tolerance / 100,
            tested=self.tested(),
            fills_kg=self.fills(density),
            compartments_kg=self.contents(options.compartment or (), "--compartment", density),
            allow_far=options.beyond,
        )

    def density(self) -> float | None:
        """Bulk density as typed, else the season's, else the usual one."""
        text, product = self.options.bulk_density, self.product
        if text is not None:
            return self.quantity(text, Dimension.MASS_PER_VOLUME, "--bulk-density")
        if product is not None and product.bulk_density_kg_per_m3:
            return product.bulk_density_kg_per_m3
        usual = usual_bulk_density(self.options.product.strip())
        if usual is None:
            return None
        self.notes.append(
            tr(
                "The bulk density is the usual one of {usual} (University of Missouri "
                "Extension G4020). Weigh a level pail of your lot and give --bulk-density.",
                usual=usual[0],
            )
        )
        return usual[1]

    def opener_catches(self) -> tuple[tuple[float, ...], ...]:
        option, texts = "--opener-catch", self.options.opener_catch or ()
        tests = [self.quantities(text, Dimension.MASS, option, zero=True) for text in texts]
        if len({len(test) for test in tests if test}) > 1:
            what = tr("The tests have different numbers of openers.")
            self.refuse(option, what, "Give all of each.")
            return ()
        if any(test and sum(test) <= 0 for test in tests):
            self.refuse(option, tr("Nothing was caught."), tr("Check the drive of the meter."))
            return ()
        return tuple(tuple(test) for test in tests if test)

    def rows_per_tower(self, parted: tuple[tuple[float, ...], ...]) -> int | None:
        """Openers of each tower, as typed or by the season's drill."""
        told, option = self.options.rows_per_tower, "--rows-per-tower"
        if told is None:
            return self.implement.rows_per_tower if self.implement is not None else None
        if not self.options.opener_catch:
            self.refuse(
                option, tr("No opener was caught."), tr("Give --opener-catch, or leave it out.")
            )
        elif told < 2:
            self.refuse(option, f"{told} is too few.", tr("Count the rows of one tower."))
        elif parted and told >= len(parted[0]):
            what = tr("Of {count} openers caught all are of one tower.", count=len(parted[0]))
            self.refuse(option, what, tr("Catch openers of two towers at least, or leave it out."))
        return told

    def test(self, parted: tuple[tuple[float, ...], ...]) -> MeterTest | None:
        options = self.options
        texts = options.catch or ()
        catches = [kg for t in texts for kg in self.quantities(t, Dimension.MASS, "--catch")]
        if texts and options.opener_catch:
            what = tr("It does not go with --opener-catch.")
            self.refuse("--catch", what, tr("Their sum is the catch: leave it out."))
        if not texts and not options.opener_catch:
            return None
        resolution = self.quantity(options.scale, Dimension.MASS, "--scale") or 0.0
        if options.turns is not None and not 0 < options.turns < 1e9:
            what = tr("{turns:g} turns are no test.", turns=options.turns)
            self.refuse("--turns", what, "Count them again.")
            return None
        area = self.ground_m2(len(parted[0]) if parted else None)
        catches = catches or [sum(test) for test in parted]
        if area is None or not catches:
            return None
        # Each opener is read off the scale once, so their steps add up.
        step = resolution * (len(parted[0]) ** 0.5 if parted else 1.0)
        return MeterTest(tuple(catches), area, options.turns, step)

    def ground_m2(self, caught: int | None) -> float | None:
        """Ground that each catch stands for; ``caught`` openers were caught one by one."""
        options, implement = self.options, self.implement
        width = self.quantity(options.width, Dimension.LENGTH, "--width")
        spacing = self.quantity(options.row_spacing, Dimension.LENGTH, "--row-spacing")
        rows = options.rows
        if implement is not None and implement.width_known and width is None and spacing is None:
            width = implement.width_m
            rows = rows or (implement.rows if implement.rows_known else None)
        for option, count in (("--rows", rows), ("--openers", options.openers)):
            if count is not None and count < 1:
                self.refuse(option, tr("{count} is too few.", count=count), "Count them again.")
                return None
        if caught and options.openers and caught != options.openers:
            what = tr(
                "{openers} openers were caught, but --opener-catch has {caught}.",
                openers=options.openers,
                caught=caught,
            )
            self.refuse("--openers", what, tr("Give one catch for each."))
            return None
        openers = options.openers or caught
        if openers and rows and openers > rows:
            self.refuse(
                "--openers",
                tr("{openers} of {rows} rows were caught.", openers=openers, rows=rows),
                "Check both.",
            )
            return None
        by_wheel = (options.circumference, options.wheel_diameter)
        ways = (options.area, options.turns_per_area, *by_wheel)
        if sum(way is not None for way in ways) != 1:
            self.refuse(
                "",
                tr("It has to know the ground that the catch stands for, in one way."),
                tr(
                    'Give --turns and --turns-per-area "25/ac" for a crank test, --turns and '
                    '--circumference "8 ft" for a wheel test, or --area "0.1 ac".'
                ),
            )
            return None
        if options.area is None and options.turns is None:
            self.refuse("--turns", "It is missing.", tr("Say how often it was turned."))
            return None
        if by_wheel != (None, None):
            return self.wheel_ground_m2(openers, width, spacing, rows)
        if options.openers and not rows:
            what = tr(
                "{openers} openers were caught, but of how many is not known.", openers=openers
            )
            self.refuse("--rows", what, tr("Give the number of rows, or leave --openers out."))
            return None
        part = openers / rows if openers and rows else 1.0
        if options.area is not None:
            area = self.quantity(options.area, Dimension.AREA, "--area")
            return None if area is None else area * part
        per_m2 = self.turns_per_m2(options.turns_per_area or "")
        return None if per_m2 is None else crank_area_m2(options.turns or 0.0, per_m2) * part

    def wheel_ground_m2(
        self, openers: int | None, width: float | None, spacing: float | None, rows: int | None
    ) -> float | None:
        options = self.options
        around = self.quantity(options.circumference, Dimension.LENGTH, "--circumference")
        across = self.quantity(options.wheel_diameter, Dimension.LENGTH, "--wheel-diameter")
        if across is not None:
            around = across * math.pi
        spacing = spacing or (width / rows if width and rows else None)
        caught = openers or rows
        caught_width = spacing * caught if spacing and caught else (None if openers else width)
        if caught_width is None:
            self.refuse(
                "--width",
                tr("The width that was caught is not known."),
                tr(
                    "Give --row-spacing and --openers, or --width (with --rows where not all "
                    "were caught)."
                ),
            )
        if around is None or caught_width is None:
            return None
        return wheel_area_m2(around, options.turns or 0.0, caught_width)

    def turns_per_m2(self, text: str) -> float | None:
        found = _PER_AREA.fullmatch(text.strip())
        factor = unit_factor(found["unit"], Dimension.AREA) if found else None
        if found is None or factor is None:
            what = tr('"{said}" is not turns for a unit of ground.', said=text)
            self.refuse("--turns-per-area", what, tr('Write "25/ac" or "62/ha".'))
            return None
        turns = setting_number(found["turns"])
        if turns is None:
            what = tr('"{said}" has no number above zero.', said=text)
            self.refuse("--turns-per-area", what, 'Write "25/ac".')
            return None
        return turns / factor

    def tested(self) -> tuple[tuple[float, float], ...]:
        option, form = "--tested", "SETTING=RATE, such as 35=21.4lb/ac"
        texts = self.options.tested or ()
        tested: list[tuple[float, float]] = []
        if texts and setting_number(self.options.setting.strip()) is None:
            self.refuse("--setting", tr("It has to be a number beside --tested."), "Give it.")
        for text in texts:
            pair = self.named(text, option, form)
            if pair is None:
                continue
            setting = setting_number(pair[0])
            if setting is None:
                self.refuse(
                    option, tr('"{pair}" is no setting in numbers.', pair=pair[0]), f"Write {form}."
                )
                continue
            rates = self.quantities(pair[1], Dimension.MASS_PER_AREA, option)
            tested += [(setting, rate) for rate in rates]
        return tuple(tested)

    def fills(self, density: float | None) -> dict[str, float]:
        texts, implement = self.options.fill or [], self.implement
        if not texts and implement is not None and density is not None:
            return {bin_.name: mass_kg(bin_.volume_m3, density) for bin_ in implement.compartments}
        names = ["a fill"] if len(texts) == 1 else [f"fill {n}" for n, _ in enumerate(texts, 1)]
        named = (t if "=" in t else f"{n}={t}" for n, t in zip(names, texts, strict=True))
        return self.contents(named, "--fill", density)

    def contents(
        self, texts: Iterable[str], option: str, density: float | None
    ) -> dict[str, float]:
        """Names and masses of ``front=7000 lb`` or, with a bulk density, ``front=180 bu``."""
        contents: dict[str, float] = {}
        for text in texts:
            pair = self.named(text, option, "NAME=AMOUNT, such as front=180bu")
            if pair is None:
                continue
            name, amount = pair
            if name in contents:
                self.refuse(
                    option, tr('"{name}" is there twice.', name=name), tr("Give each its own name.")
                )
            unit = re.sub(r"^[\d.,\s]+", "", amount)
            if unit_factor(unit, Dimension.VOLUME) is None:
                kg = self.quantity(amount, Dimension.MASS, option)
            elif density is None:
                what = tr(
                    '"{amount}" is a volume, and the bulk density is not known.', amount=amount
                )
                self.refuse(option, what, tr('Give --bulk-density "48 lb/bu", or a mass.'))
                continue
            else:
                volume = self.quantity(amount, Dimension.VOLUME, option)
                kg = None if volume is None else mass_kg(volume, density)
            if kg is not None:
                contents[name] = kg
        return contents

    def quantity(self, text: str | None, dimension: Dimension, option: str) -> float | None:
        """One quantity above zero; None when not given or wrong."""
        values = self.quantities(text, dimension, option) if text is not None else []
        if len(values) > 1:
            self.refuse(option, tr('"{said}" is more than one.', said=text), "Give one.")
            return None
        return values[0] if values else None

    def quantities(
        self, text: str, dimension: Dimension, option: str, *, zero: bool = False
    ) -> list[float]:
        """One quantity or several with one unit: ``22.6 22.4 22.0 g``."""
        several = _LIST.fullmatch(text.strip())
        parts = [text]
        if several:
            parts = [f"{n} {several['unit']}" for n in re.split(r"[\s;]+", several["numbers"])]
        values = []
        for part in parts:
            try:
                value = parse_quantity(part, dimension, file="calibrate", place=option)
            except InputError as error:
                self.problems += error.problems
                return []
            if value < 0 or (value == 0 and not zero):
                self.refuse(
                    option, tr('"{part}" is not above zero.', part=part), "Check the figure."
                )
                return []
            values.append(value)
        return values

    def named(self, text: str, option: str, what: str) -> tuple[str, str] | None:
        """Parts of ``NAME=VALUE``."""
        name, sign, value = (part.strip() for part in text.partition("="))
        if not (name and sign and value):
            self.refuse(
                option, tr('"{said}" is not {what}.', said=text, what=what), f"Write {what}."
            )
            return None
        return name, value
