"""A stationary test of the meter: what it came to, the next setting, and its line in the book."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenacre.io.settings_book.book import BOOK_NAME, append_setting, read_book
from evenacre.language import ENGLISH, spoken, tr
from evenacre.model import Implement, Product, Season
from evenacre.planning.calibration.calibrate import Calibration, CalibrationJob
from evenacre.planning.calibration.calibrate import calibrate as worked_out
from evenacre.processes.written import Written
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.calibration import (
    calibration_cautions,
    calibration_lines,
    look_up_lines,
)
from evenacre.reports.tables.calibration import CALIBRATION
from evenacre.reports.writers.as_json import record
from evenacre.units.display import UnitSystem, unit_system
from evenacre.workflows.called import about_arguments
from evenacre.workflows.result import Result
from evenacre.workflows.typed.calibrate_job import check_asked, read_options
from evenacre.workflows.typed.calibrate_options import BookedOptions


@dataclass(frozen=True, repr=False)
class MeterSetting(Result):
    """What a test of the meter came to, and where to set it next.

    Attributes
    ----------
    calibration : Calibration
        The answers themselves.
    units : UnitSystem
        Of the words.
    notes : tuple of str
        What was taken from elsewhere.
    warnings : tuple of str
        Of the settings book.
    book : Path or None
        Where the test was noted.

    Examples
    --------
    >>> ev.calibrate(product="rye", catch="4.2 kg", area="400 m2").calibration.noted.product
    'rye'
    """

    calibration: Calibration
    units: UnitSystem
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    book: Path | None = None

    def write(self, book: str | Path) -> Path:
        """Note the test in a settings book, a table that any spreadsheet opens.

        Parameters
        ----------
        book : str or Path
            Begun when it is not there.

        Returns
        -------
        Path
            The book.

        Raises
        ------
        InputError
            When the file is no settings book or cannot be written.
        """
        with about_arguments():
            said = append_setting(Path(book), self.calibration.noted, self.units.name)
        for text in said:
            warnings.warn(text, stacklevel=2)
        return Path(book)

    def _lines(self) -> tuple[str, ...]:
        found = self.calibration.found
        told = CALIBRATION.texts(self.calibration, Display(self.units))
        return (
            *(look_up_lines(found, told["look_up"], self.units) if found else ()),
            *calibration_lines(self.calibration, told, self.units),
            *((tr("Noted in {book}.", book=self.book),) if self.book else ()),
            *self.notes,
            *(tr("warning: {said}", said=text) for text in self.warnings),
            *(tr("caution: {said}", said=text) for text in calibration_cautions(self.calibration)),
        )

    def _summary(self) -> dict[str, Any]:
        return {
            **record(CALIBRATION, self.calibration),
            "book": str(self.book) if self.book else None,
            "notes": list(self.notes),
            "warnings": list(self.warnings),
            "cautions": calibration_cautions(self.calibration),
        }


def run_calibrate(
    options: BookedOptions,
    *,
    book: Path | None = None,
    season: Path | None = None,
    units: str | None = None,
    language: str | None = None,
    written: Written | None = None,
) -> MeterSetting:
    """Work a test out, and note it in the settings book unless that is not wanted.

    Parameters
    ----------
    options : BookedOptions
    book : Path, optional
        The settings book; beside the season file, or where the program runs, when None.
    season : Path, optional
        A season file that knows the product, the drill and the units.
    units : str, optional
        Of the words and of the book's line; the season's when None.
    language : str, optional
        Tag of that of the words; the season's when None.
    written : Written, optional
        Told of the book once it is written.

    Raises
    ------
    InputError
        With everything that is wrong with the options, or when the book cannot be used.
    """
    known = None
    if season:
        from evenacre.io.season.load import draft_season  # slow to load

        # What of a season file can be read: maps are no matter here.
        known = draft_season(season, maps=False).season
    with spoken(language or (known.language if known else ENGLISH)):
        job, notes = read_test(options, known)
        system = unit_system(units or (known.units if known else "us"))
        path = book or (season.parent if season else Path()) / BOOK_NAME
        said: tuple[str, ...] = ()
        past = None
        if options.lookup:
            past, said = (read := read_book(path)).settings, read.warnings
        result = worked_out(job, past)
        noted = path if job.test is not None and not options.no_book else None
        if noted:
            said = append_setting(noted, result.noted, system.name, written=written)
        return MeterSetting(result, system, notes, said, noted)


def read_test(
    options: BookedOptions, known: Season | None
) -> tuple[CalibrationJob, tuple[str, ...]]:
    """Read what was typed of a test, with notes of what was taken from elsewhere.

    Parameters
    ----------
    options : BookedOptions
    known : Season, optional
        What knows the product and the drill.

    Raises
    ------
    InputError
        With everything that is wrong with the options.
    """
    named, drill = _of_season(known, options.product.strip())
    job, notes = read_options(options, named, drill)
    check_asked(job, drill, lookup=options.lookup, no_book=options.no_book)
    return job, notes


def _of_season(season: Season | None, product: str) -> tuple[Product | None, Implement | None]:
    """Find the product by its name, and the drill where there is but one."""
    if season is None:
        return None, None
    named = {p.name.lower(): p for p in season.products}
    drills = list({id(o.implement): o.implement for o in season.operations}.values())
    return named.get(product.lower()), drills[0] if len(drills) == 1 else None
