"""``evenacre calibrate``: a stationary test of the meter, and the farm's settings book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from evenacre.cli.options.calibrate_options import BOOK, CalibrateOptions
from evenacre.cli.options.derived import option
from evenacre.cli.options.progress import tell_lines
from evenacre.cli.options.shared import AsJson, Quiet, Units, plain_errors
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import Implement, Product, Season
    from evenacre.planning.calibration.calibrate import CalibrationJob


def calibrate(
    options: CalibrateOptions,
    book: Annotated[
        Path | None, option(BOOK, "The book; settings-book.csv beside the season file or here.")
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
        from evenacre.cli.options.calibrate_job import read_options
        from evenacre.io.season.load import draft_season
        from evenacre.io.settings_book.book import BOOK_NAME, append_setting, read_book
        from evenacre.planning.calibration.calibrate import calibrate as worked_out
        from evenacre.reports.column import Display
        from evenacre.reports.sentences.calibration import calibration_lines
        from evenacre.reports.sentences.past_settings import calibration_cautions, look_up_lines
        from evenacre.reports.tables.calibration import CALIBRATION
        from evenacre.reports.writers.as_json import record
        from evenacre.units.display import unit_system

        # What of a season file can be read: a missing map is no matter here.
        known = draft_season(season).season if season else None
        named, drill = _of_season(known, options.product.strip())
        job, notes = read_options(options, named, drill)
        _check_asked(job, drill, lookup=lookup, no_book=no_book)
        system = unit_system(units or (known.units if known else "us"))
        path = book or (season.parent if season else Path()) / BOOK_NAME
        warnings: tuple[str, ...] = ()
        past = None
        if lookup:
            past, warnings = (read := read_book(path)).settings, read.warnings
        result = worked_out(job, past)
        noted = path if job.test is not None and not no_book else None
        if noted:
            warnings = append_setting(noted, result.noted, system.name, written=written)
        cautions = calibration_cautions(result)
        account = {
            **record(CALIBRATION, result),
            "book": str(noted) if noted else None,
            "notes": list(notes),
            "warnings": list(warnings),
            "cautions": cautions,
        }
        told = CALIBRATION.texts(result, Display(system))
        lines = [
            *(look_up_lines(result.found, told["look_up"], system) if result.found else ()),
            *calibration_lines(result, told, system),
            *([f"Noted in {noted}."] if noted else ()),
            *notes,
            *(f"warning: {text}" for text in warnings),
            *(f"caution: {text}" for text in cautions),
        ]
        tell_lines(account, lines, as_json=as_json, quiet=quiet)


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
