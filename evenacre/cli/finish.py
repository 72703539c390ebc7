"""``evenacre finish``: come out even."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.derived import READING, SeasonKeys, option
from evenacre.cli.options.progress import tell_lines
from evenacre.cli.options.season_input import SEASON_FILES, season_given
from evenacre.cli.options.shared import AsJson, Language, Quiet, Units, plain_errors
from evenacre.errors import InputError
from evenacre.language import ENGLISH, speak, tr
from evenacre.workflows.typed.finish_options import TYPED, FinishOptions

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, PastSetting, Season

_KEYS = SeasonKeys(
    {
        "Field and log without a season file": "boundary tracks unworkable width rows row_spacing",
        READING: "column time_zone tracks_layer tracks_crs boundary_layer boundary_where "
        "boundary_crs",
    },
    {"tracks": "Log of the drive so far."},
)


def finish(
    options: FinishOptions,
    files: Annotated[list[Path] | None, typer.Argument(help=SEASON_FILES)] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for a map; none is written without it.")
    ] = None,
    book: Annotated[
        Path | None,
        option(TYPED, "The settings book; settings-book.csv here, where there is one."),
    ] = None,
    units: Units = None,
    language: Language = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Tell the rate that ends the load with the field, and where it runs out at this one.

    From a season file, from a boundary and tracks so far, or from acres and pounds typed in.
    """
    with plain_errors(language) as written:
        from evenacre.units.display import unit_system
        from evenacre.workflows.finish import (
            ComeOutEven,
            RateSoFar,
            finish_operation,
            typed_answer,
        )
        from evenacre.workflows.result import write_result

        if options.typed:
            if files or {"tracks", "boundary"} & keys.keys():
                what = tr("It does not go with a season file, a boundary or tracks.")
                name = "--area" if options.area is not None else "--done"
                raise InputError.at(name, "", what, tr("Leave one of them out."))
            speak(language or ENGLISH)
            past, warned = _past(book) if options.done is not None else ((), ())
            told = typed_answer(options, unit_system(units or "us"), past, warned)
            if isinstance(told, RateSoFar):
                tell_lines(told.summary, told.lines, as_json=as_json, quiet=quiet)
                return
            result = told
        else:
            season, plan = _chosen(files or [], options, keys)
            speak(language or season.language)
            result = finish_operation(plan, options, unit_system(units or season.units))
        lines = [*result.lines]
        if out is not None:
            write_result(ComeOutEven, out, lambda: result, written=written)
            lines += [tr("  Map: {file}", file=out / "finish.png")] if result.job else []
        tell_lines(result.summary, lines, as_json=as_json, quiet=quiet)


def _past(book: Path | None) -> tuple[tuple[PastSetting, ...], tuple[str, ...]]:
    """Lines of the settings book, and what could not be read of it."""
    from evenacre.io.settings_book.book import BOOK_NAME, read_book

    if book is None and not Path(BOOK_NAME).is_file():
        return (), ()
    read = read_book(book or Path(BOOK_NAME))
    return read.settings, read.warnings


def _chosen(
    files: list[Path], options: FinishOptions, keys: dict[str, Any]
) -> tuple[Season, OperationPlan]:
    """The operation to finish."""
    if "tracks" in keys:
        keys |= {"operation_name": options.operation, "field_name": options.field}
        keys["product"] = [options.product] if options.product else []
    season, _ = season_given(
        "finish",
        files,
        keys,
        'evenacre finish season.toml --operation NAME --left "1400 lb"',
        "evenacre finish --boundary F --tracks F --width 20ft --left ...",
        'evenacre finish --area "18 ac" --left "2900 lb"',
    )
    if "tracks" in keys:
        return season, season.operations[0]
    from evenacre.workflows.finish import chosen_operation

    return season, chosen_operation(season, files[0].name, options.operation, options.field)
