"""``evenacre calibrate``: a stationary test of the meter, and the farm's settings book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from evenacre.cli.options.shared import AsJson, Quiet, Units, option, plain_errors
from evenacre.cli.options.streams import printing
from evenacre.cli.options.terminal import say
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import Implement, Product, Season
    from evenacre.planning.calibration.calibrate import Calibration, CalibrationJob

TEST, WIDTH, SETTING, FILL, BOOK = (
    "The test",
    "What was caught",
    "Setting and target",
    "Fills",
    "The settings book",
)


def calibrate(
    catch: Annotated[
        list[str] | None, option(TEST, 'A catch: "4.2 lb". Repeat it, or list "4.2 4.3 4.2 lb".')
    ] = None,
    opener_catch: Annotated[
        list[str] | None,
        option(TEST, 'Catches of the openers from the left: "22.6 22.4 22.0 g". Repeat for tests.'),
    ] = None,
    turns: Annotated[float | None, option(TEST, "Turns made for each catch.")] = None,
    turns_per_area: Annotated[
        str | None, option(TEST, 'Crank test: turns for a unit of ground, "25/ac".')
    ] = None,
    circumference: Annotated[
        str | None, option(TEST, 'Wheel test: rolled by one turn, "8 ft".')
    ] = None,
    wheel_diameter: Annotated[str | None, option(TEST, 'Instead: "0.8 m".')] = None,
    area: Annotated[
        str | None, option(TEST, 'Ground a catch stands for, where known: "0.1 ac".')
    ] = None,
    scale: Annotated[str | None, option(TEST, 'Step of the scale: "0.1 lb".')] = None,
    width: Annotated[str | None, option(WIDTH, 'Working width: "20 ft".')] = None,
    rows: Annotated[int | None, option(WIDTH, "Rows across the width.")] = None,
    row_spacing: Annotated[str | None, option(WIDTH, 'Instead: "7.5 in".')] = None,
    openers: Annotated[int | None, option(WIDTH, "Openers caught; all, if not said.")] = None,
    product: Annotated[str, option(SETTING, "What was metered.")] = "",
    target: Annotated[str | None, option(SETTING, 'Rate wanted: "25 lb/ac".')] = None,
    tolerance: Annotated[float, option(SETTING, "Percent the rate may be off.")] = 5.0,
    setting: Annotated[str, option(SETTING, "Setting of the meter in this test.")] = "",
    tested: Annotated[
        list[str] | None,
        option(SETTING, 'Another setting tested, and its rate: "35=21.4lb/ac". Repeat.'),
    ] = None,
    beyond: Annotated[
        bool, option(SETTING, "Give guesses far beyond what was tested.", "--beyond")
    ] = False,
    bulk_density: Annotated[str | None, option(FILL, 'Bulk density: "48 lb/bu".')] = None,
    fill: Annotated[
        list[str] | None, option(FILL, 'A fill whose reach you ask: "180 bu" or "front=9000 lb".')
    ] = None,
    compartment: Annotated[
        list[str] | None,
        option(FILL, 'What is in compartments to end together: "front=7000 lb". Repeat.'),
    ] = None,
    roller: Annotated[str, option(BOOK, "Metering roller.")] = "",
    fan: Annotated[str, option(BOOK, "Fan speed or pressure, with its unit.")] = "",
    speed: Annotated[str | None, option(BOOK, 'Ground speed: "5 mph".')] = None,
    down_pressure: Annotated[str, option(BOOK, "Down pressure, with its unit.")] = "",
    trouble: Annotated[str, option(BOOK, "What went wrong, for next time.")] = "",
    date: Annotated[str, option(BOOK, "Day of the test; today, if not said.")] = "",
    book: Annotated[
        Path | None,
        option(BOOK, "The book; settings-book.csv beside the season file or here."),
    ] = None,
    no_book: Annotated[bool, option(BOOK, "Do not note the test.", "--no-book")] = False,
    lookup: Annotated[
        bool, option(BOOK, "Only ask the book for the nearest past settings.", "--lookup")
    ] = False,
    season: Annotated[
        Path | None, option(BOOK, "Season file: bulk density, drill, compartments, units.")
    ] = None,
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Judge a stationary test of the meter, find the next setting, and note it."""
    with plain_errors() as written:
        from evenacre.cli.options.calibrate_test import read_options
        from evenacre.cli.options.calibrate_texts import Texts
        from evenacre.io.settings_book.book import BOOK_NAME, append_setting, read_book
        from evenacre.planning.calibration.calibrate import calibrate as worked_out
        from evenacre.units.display import unit_system

        known = _season(season) if season else None
        typed = Texts(
            product=product.strip(),
            catches=catch or (),
            opener_catches=opener_catch or (),
            scale=scale,
            turns=turns,
            turns_per_area=turns_per_area,
            area=area,
            circumference=circumference,
            wheel_diameter=wheel_diameter,
            width=width,
            rows=rows,
            row_spacing=row_spacing,
            openers=openers,
            target=target,
            tolerance=tolerance,
            setting=setting.strip(),
            tested=tested or (),
            bulk_density=bulk_density,
            fill=fill or (),
            compartment=compartment or (),
            roller=roller.strip(),
            fan=fan.strip(),
            speed=speed,
            down_pressure=down_pressure.strip(),
            trouble=trouble.strip(),
            date=date.strip() or _today(),
            beyond=beyond,
        )
        named, drill = _of_season(known, typed.product)
        job, notes = read_options(typed, named, drill)
        _check_asked(job, drill, lookup=lookup, no_book=no_book)
        system = unit_system(units.value if units else known.units if known else "us")
        path = book or (season.parent if season else Path()) / BOOK_NAME
        warnings: tuple[str, ...] = ()
        past = None
        if lookup:
            past, warnings = (read := read_book(path)).settings, read.warnings
        result = worked_out(job, past)
        noted = job.test is not None and not no_book
        if noted:
            warnings = append_setting(path, result.noted, system.name, written=written)
        with printing():
            if as_json:
                _print_json(result, notes, warnings, path if noted else None)
            elif not quiet:
                for line in _lines(result, system, notes, warnings, path if noted else None):
                    say(line)


def _today() -> str:
    from datetime import date

    return date.today().isoformat()


def _season(path: Path) -> Season:
    """Read what of a season file can be read: a missing map is no matter here."""
    from evenacre.io.season.load import draft_season

    return draft_season(path).season


def _of_season(season: Season | None, product: str) -> tuple[Product | None, Implement | None]:
    """Find the product by its name, and the drill where there is but one."""
    if season is None:
        return None, None
    named = {p.name.lower(): p for p in season.products}
    drills = list({id(o.implement): o.implement for o in season.operations}.values())
    return named.get(product.lower()), drills[0] if len(drills) == 1 else None


def _check_asked(
    job: CalibrationJob, drill: Implement | None, *, lookup: bool, no_book: bool
) -> None:
    """Refuse a question that lacks what it needs."""
    about = job.about
    if lookup:
        if job.test is not None:
            what, remedy = "A catch is no question.", "Leave out --lookup, or the catch."
            raise InputError.at("calibrate", "--lookup", what, remedy)
        if about.target_kg_per_m2 is None or not (about.product or about.bulk_density_kg_per_m3):
            what = "It has to know the rate, and the product or its bulk density."
            remedy = 'Give --target "25 lb/ac" and --product or --bulk-density.'
            raise InputError.at("calibrate", "--lookup", what, remedy)
        return
    fills = about.target_kg_per_m2 is not None and bool(job.fills_kg or job.compartments_kg)
    if job.test is None and not fills:
        bins = drill is not None and bool(drill.compartments)
        if bins and about.target_kg_per_m2 is not None and about.bulk_density_kg_per_m3 is None:
            what = f"What a fill of {about.product or 'the product'} weighs is not known."
            remedy = 'Give --bulk-density "48 lb/bu", or bulk_density in the season file.'
            raise InputError.at("calibrate", "--bulk-density", what, remedy)
        what = "There is nothing to work out."
        remedy = 'Give a catch, such as --catch "4.2 lb"; or --target with --fill or --compartment.'
        raise InputError.at("calibrate", "", what, f"{remedy} To ask the book, add --lookup.")
    if job.test is not None and not about.product and not no_book:
        what, remedy = "The book has to know what was metered.", "Give it, or add --no-book."
        raise InputError.at("calibrate", "--product", what, remedy)


def _lines(
    result: Calibration,
    units: Any,
    notes: tuple[str, ...],
    warnings: tuple[str, ...],
    book: Path | None,
) -> list[str]:
    from evenacre.reports.sentences.calibration import calibration_lines
    from evenacre.reports.sentences.past_settings import calibration_cautions, look_up_lines

    found = look_up_lines(result.found, units) if result.found else []
    return [
        *found,
        *calibration_lines(result, units),
        *([f"Noted in {book}."] if book else []),
        *notes,
        *(f"warning: {text}" for text in warnings),
        *(f"caution: {text}" for text in calibration_cautions(result)),
    ]


def _print_json(
    result: Calibration, notes: tuple[str, ...], warnings: tuple[str, ...], book: Path | None
) -> None:
    from evenacre.io.writers.json_file import json_text
    from evenacre.reports.sentences.past_settings import calibration_cautions, look_up_summary
    from evenacre.reports.tables.calibration import calibration_summary

    account = {
        **calibration_summary(result),
        "look_up": look_up_summary(result.found) if result.found else None,
        "book": str(book) if book else None,
        "notes": list(notes),
        "warnings": list(warnings),
        "cautions": calibration_cautions(result),
    }
    say(json_text(account))
