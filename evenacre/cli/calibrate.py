"""``evenacre calibrate``: a stationary test of the meter, and the farm's settings book."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from evenacre.cli.options.derived import option
from evenacre.cli.options.progress import tell_lines
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, plain_errors
from evenacre.workflows.typed.calibrate_options import BOOK, BookedOptions


def calibrate(
    options: BookedOptions,
    book: Annotated[
        Path | None, option(BOOK, "The book; settings-book.csv beside the season file or here.")
    ] = None,
    season: Annotated[
        Path | None, option(BOOK, "Season file: bulk density, drill, compartments, units.")
    ] = None,
    units: Units = None,
    language: Language = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Judge a stationary test of the meter, find the next setting, and note it."""
    with plain_errors(language) as written:
        from evenacre.workflows.calibrate import run_calibrate

        told = run_calibrate(
            options, book=book, season=season, units=units, language=language, written=written
        )
        tell_lines(told.summary, told.lines, as_json=as_json, quiet=quiet)
