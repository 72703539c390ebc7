"""A stationary test of the meter: what it came to, the next setting, and its line in the book."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenacre.io.settings_book.book import append_setting
from evenacre.planning.calibration.calibrate import Calibration
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.calibration import (
    calibration_cautions,
    calibration_lines,
    look_up_lines,
)
from evenacre.reports.tables.calibration import CALIBRATION
from evenacre.reports.writers.as_json import record
from evenacre.units.display import UnitSystem
from evenacre.workflows.called import about_arguments
from evenacre.workflows.result import Result


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
            *((f"Noted in {self.book}.",) if self.book else ()),
            *self.notes,
            *(f"warning: {text}" for text in self.warnings),
            *(f"caution: {text}" for text in calibration_cautions(self.calibration)),
        )

    def _summary(self) -> dict[str, Any]:
        return {
            **record(CALIBRATION, self.calibration),
            "book": str(self.book) if self.book else None,
            "notes": list(self.notes),
            "warnings": list(self.warnings),
            "cautions": calibration_cautions(self.calibration),
        }
