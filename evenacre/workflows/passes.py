"""From fields to a folder with the passes to drive: plan, draw, write."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from evenacre.io.result_folder.ownership import PASSES, write_account
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.season.pass_inputs import Ground
from evenacre.io.season.pasture.schema import DriveOptions
from evenacre.io.writers.file_names import unique_slugs
from evenacre.io.writers.results import write_passes
from evenacre.planning.interseeding.plan import drive_of
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.maps.pass_layers import pass_files
from evenacre.reports.maps.passes import pass_map
from evenacre.reports.sentences.passes import pass_lines
from evenacre.reports.tables.passes import pass_account
from evenacre.units.display import UnitSystem
from evenacre.workflows.audit import Outcome

_MAPS = "maps"


def plan_field_passes(
    ground: Ground,
    drive: Drive,
    out: Path,
    units: UnitSystem,
    *,
    say: Callable[[str], None] = lambda _stage: None,
    written: Written | None = None,
) -> Outcome:
    """Plan the passes of every field and write the result folder.

    Parameters
    ----------
    ground : Ground
    drive : Drive
        With a heading where it is not to be found.
    out : Path
        Written whole or not at all.
    units : UnitSystem
    say : callable, optional
        Told each field as it begins.
    written : Written, optional
        Told what was written, and of files that were kept.

    Returns
    -------
    Outcome
        Its summary is as in ``passes.json``.

    Raises
    ------
    InputError
        When the folder cannot be written.
    """
    generated = generation_time().isoformat(timespec="seconds")
    given = drive.heading_rad is not None
    names = [f"{_MAPS}/{slug}.png" for slug in unique_slugs(f.name for f in ground.fields)]
    with staged_folder(out, PASSES, written=written) as stage:
        plans: list[PassPlan] = []
        (stage / _MAPS).mkdir()
        for field, name in zip(ground.fields, names, strict=True):
            say(field.name)
            plans.append(plan_passes(field, drive))
            (stage / name).write_bytes(pass_map(field, plans[-1], units))
        say("writing the passes")
        write_passes(stage, pass_files(plans), farm=ground.farm)
        account = write_account(
            stage,
            PASSES,
            pass_account(
                plans,
                farm=ground.farm,
                generated=generated,
                inputs=ground.inputs,
                warnings=ground.warnings,
                maps=names,
                heading_given=given,
            ),
        )
    lines = pass_lines(plans, units, heading_given=given, warnings=ground.warnings)
    return Outcome(account, tuple(lines))


def drive_over(ground: Ground, options: DriveOptions) -> Drive:
    """How to drive: as the options say, else as the season says of the same tool."""
    drive = drive_of(ground.seeding) if ground.seeding else Drive(ground.width_m)
    given: dict[str, Any] = {
        "speed_mps": options.speed,
        "turn_speed_mps": options.turn_speed,
        "turn_radius_m": options.turn_radius,
        "rounds": options.rounds,
        "prefer": options.prefer,
        "heading_rad": None if options.heading is None else math.radians(90.0 - options.heading),
    }
    return replace(drive, **{key: value for key, value in given.items() if value is not None})
