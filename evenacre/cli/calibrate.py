"""``evenacre calibrate``: a stationary test of the meter, and the farm's settings book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from evenacre.cli.options.calibrate_options import BOOK, CalibrateOptions
from evenacre.cli.options.derived import option
from evenacre.cli.options.progress import tell_lines
from evenacre.cli.options.shared import AsJson, Quiet, Units, plain_errors

if TYPE_CHECKING:
    from evenacre.model import Implement, Product, Season


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
        from evenacre.cli.options.calibrate_job import check_asked, read_options
        from evenacre.io.season.load import draft_season
        from evenacre.io.settings_book.book import BOOK_NAME, append_setting, read_book
        from evenacre.planning.calibration.calibrate import calibrate as worked_out
        from evenacre.units.display import unit_system
        from evenacre.workflows.calibrate import MeterSetting

        # What of a season file can be read: a missing map is no matter here.
        known = draft_season(season).season if season else None
        named, drill = _of_season(known, options.product.strip())
        job, notes = read_options(options, named, drill)
        check_asked(job, drill, lookup=lookup, no_book=no_book)
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
        told = MeterSetting(result, system, notes, warnings, noted)
        tell_lines(told.summary, told.lines, as_json=as_json, quiet=quiet)


def _of_season(season: Season | None, product: str) -> tuple[Product | None, Implement | None]:
    """Find the product by its name, and the drill where there is but one."""
    if season is None:
        return None, None
    named = {p.name.lower(): p for p in season.products}
    drills = list({id(o.implement): o.implement for o in season.operations}.values())
    return named.get(product.lower()), drills[0] if len(drills) == 1 else None
