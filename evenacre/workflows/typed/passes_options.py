"""What is typed for passes: the fields, and how they are driven."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from evenacre.errors import InputError, gathered
from evenacre.language import tr
from evenacre.workflows.typed.declared import Typed

if TYPE_CHECKING:
    from evenacre.errors import Problem
    from evenacre.io.season.pass_inputs import Ground
    from evenacre.io.season.pasture.schema import DriveOptions

SEASON = "From a season file"
DRIVING = (
    "width heading rounds headland speed turn_speed turn_radius prefer blocks fence tractor_length "
    "tractor_width"
)
"""Names in `evenacre.io.season.from_options.OPTIONS`."""


@dataclass(frozen=True)
class PassesOptions:
    """Which of a season's fields, and with what; None where not given."""

    field: Annotated[
        list[str] | None, Typed(SEASON, "This field or paddock; any number. All without it.")
    ] = None
    implement: Annotated[str | None, Typed(SEASON, "Which implement is driven.")] = None


def read_drive(
    driving: Mapping[str, Any],
    season: Path | None,
    chosen: PassesOptions,
    *,
    single: Mapping[str, Any] | None = None,
) -> tuple[Ground, DriveOptions]:
    """Read the ground and how to drive it, and tell what is wrong with both at once.

    Parameters
    ----------
    driving : mapping
        What was given of `DRIVING`.
    season : Path or None
        The season file; None with ``single``.
    chosen : PassesOptions
        Of the season.
    single : mapping, optional
        One field without a season file, as `ground_of_options` takes it.

    Raises
    ------
    InputError
        With everything that is wrong.
    """
    from evenacre.io.season.pass_inputs import (
        ground_of_options,
        ground_of_season,
        read_drive_options,
    )

    problems: list[Problem] = []
    ground, options = None, None
    with gathered(problems):
        # The width of a field without a season file is checked with its boundary.
        told = driving if season else {**driving, "width": None}
        options = read_drive_options(told)
    with gathered(problems):
        if season is None:
            ground = ground_of_options(**(single or {}), width=driving.get("width"))
        elif chosen.implement is not None and "width" in driving:
            what = tr("It does not go with --implement, which has a width.")
            raise InputError.at("--width", "", what, tr("Leave one of them out."))
        else:
            # Any width, where that given is wrong, so that nothing else is missed.
            width_m = options.width if options else 1.0 if "width" in driving else None
            ground = ground_of_season(
                season, fields=chosen.field or (), implement=chosen.implement, width_m=width_m
            )
    if problems or ground is None or options is None:
        raise InputError(problems)
    return ground, options
