"""``evenacre finish``: come out even."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from evenacre.cli.options.derived import READING, SeasonKeys
from evenacre.cli.options.finish_options import FinishOptions
from evenacre.cli.options.progress import tell_lines
from evenacre.cli.options.season_input import SEASON_FILES, season_given
from evenacre.cli.options.shared import AsJson, Quiet, Units, plain_errors
from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, Season

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
    units: Units = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    **keys: Annotated[Any, _KEYS],
) -> None:
    """Tell the rate that ends the load with the field, and where it runs out at this one.

    From a season file, from a boundary and tracks so far, or from acres and pounds typed in.
    """
    with plain_errors() as written:
        from evenacre.units.display import unit_system
        from evenacre.workflows.finish import ComeOutEven, run_finish
        from evenacre.workflows.result import write_result

        if options.area is None:
            season, plan = _chosen(files or [], options, keys)
            result = run_finish(
                options.applied_to(plan),
                unit_system(units or season.units),
                product=options.product,
                left=options.amount_left(),
                rate_kg_per_m2=options.rate_kg_per_m2,
            )
        elif files or {"tracks", "boundary"} & keys.keys():
            what = "It does not go with a season file, a boundary or tracks."
            raise InputError.at("--area", "", what, "Leave one of them out.")
        else:
            result = ComeOutEven(*options.typed_finish(), unit_system(units or "us"))
        lines = [*result.lines]
        if out is not None:
            write_result(ComeOutEven, out, lambda: result, written=written)
            lines += [f"  Map: {out / 'finish.png'}"] if result.job else []
        tell_lines(result.summary, lines, as_json=as_json, quiet=quiet)


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
