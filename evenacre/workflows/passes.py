"""From fields to the passes to drive, and to the folder of them: plan, draw, write."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

import geopandas as gpd

from evenacre.errors import InputError, Problem, gathered
from evenacre.io.common.suggestions import listed
from evenacre.io.result_folder.ownership import PASSES, write_account
from evenacre.io.season.pass_inputs import Ground
from evenacre.io.season.pasture.schema import DriveOptions
from evenacre.io.writers.file_names import REPORT, unique_slugs
from evenacre.io.writers.results import write_passes
from evenacre.language import tr
from evenacre.planning.interseeding.plan import drive_of
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.planning.passes.plan import plan_passes
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.maps.passes import pass_map
from evenacre.reports.pages.passes import passes_page
from evenacre.reports.sentences.findings import refusals_in_words
from evenacre.reports.sentences.passes import pass_lines
from evenacre.reports.tables.accounts import pass_account
from evenacre.units.display import UnitSystem
from evenacre.workflows.pass_result import PassResult
from evenacre.workflows.result import Outcome, write_result

_MAPS = "maps"


@dataclass(frozen=True, repr=False)
class PlannedPasses(PassResult):
    """How fields are driven, pass by pass.

    The layers are GeoDataFrames in EPSG:4326 with all fields in them; a column ``field`` tells
    which. Areas are m2, lengths m, headings degrees clockwise from north.

    Attributes
    ----------
    ground : Ground
        The fields.
    plans : tuple of PassPlan
        One for each field.
    units : UnitSystem
        Of the words and maps.
    heading_given : bool
        It was not for the plans to choose.

    Examples
    --------
    >>> ev.plan_passes("field.geojson", width="20 ft").workable["field"].tolist()
    ['field']
    """

    account: ClassVar[str] = PASSES
    ground: Ground
    plans: tuple[PassPlan, ...]
    units: UnitSystem
    heading_given: bool

    @property
    def workable(self) -> gpd.GeoDataFrame:
        """The ground to be worked."""
        return self._files.layers["workable"]

    def _lines(self) -> tuple[str, ...]:
        given, warnings = self.heading_given, self.ground.warnings
        return tuple(pass_lines(self.plans, self.units, heading_given=given, warnings=warnings))

    def _summary(self) -> dict[str, Any]:
        return pass_account(
            self.plans,
            farm=self.ground.farm,
            generated=generation_time().isoformat(timespec="seconds"),
            inputs=self.ground.inputs,
            warnings=self.ground.warnings,
            maps=self._maps,
            heading_given=self.heading_given,
        )

    def _fill(self, stage: Path) -> dict[str, Any]:
        (stage / _MAPS).mkdir()
        pairs = zip(self.ground.fields, self.plans, strict=True)
        maps = [pass_map(field, plan, self.units) for field, plan in pairs]
        for name, png in zip(self._maps, maps, strict=True):
            (stage / name).write_bytes(png)
        page = passes_page(
            self.plans,
            maps,
            self.units,
            farm=self.ground.farm,
            inputs=self.ground.inputs,
            warnings=self.ground.warnings,
        )
        (stage / REPORT).write_text(page, encoding="utf-8", newline="\n")
        write_passes(stage, self._files, farm=self.ground.farm)
        return write_account(stage, PASSES, self.summary)

    @property
    def _maps(self) -> list[str]:
        slugs = unique_slugs(field.name for field in self.ground.fields)
        return [f"{_MAPS}/{slug}.png" for slug in slugs]

    @property
    def _driven(self) -> tuple[PassPlan, ...]:
        return self.plans


def run_passes(
    ground: Ground,
    drive: Drive,
    units: UnitSystem,
    *,
    say: Callable[[str], None] = lambda _stage: None,
) -> PlannedPasses:
    """Plan the passes of every field.

    Parameters
    ----------
    ground : Ground
    drive : Drive
        With a heading where it is not to be found.
    units : UnitSystem
    say : callable, optional
        Told each field as it begins.

    Raises
    ------
    InputError
        For a turn radius with which nothing turns round in a field, and a gate too narrow for what
        drives.
    """
    plans: list[PassPlan] = []
    problems: list[Problem] = []
    for field in ground.fields:
        say(field.name)
        with gathered(problems), refusals_in_words():
            plans.append(plan_passes(field, drive))
    if problems:
        raise InputError(problems)
    say(tr("writing the passes"))
    return PlannedPasses(ground, tuple(plans), units, drive.heading_rad is not None)


def plan_field_passes(
    ground: Ground,
    drive: Drive,
    out: Path,
    units: UnitSystem,
    *,
    say: Callable[[str], None] = lambda _stage: None,
    written: Written | None = None,
) -> Outcome:
    """Plan the passes of every field, as `run_passes` does, and write the result folder.

    Raises
    ------
    InputError
        When the folder cannot be written.
    """
    job = partial(run_passes, ground, drive, units, say=say)
    return write_result(PlannedPasses, out, job, written=written)


def fenced_as(ground: Ground, options: DriveOptions) -> Ground:
    """The ground with fences where the options say, else where the fields do."""
    if options.fence is None:
        return ground
    fields = tuple(replace(field, fenced=options.fence) for field in ground.fields)
    return replace(ground, fields=fields)


def drive_over(ground: Ground, options: DriveOptions) -> Drive:
    """How to drive: as the options say, else as the season says of the same tool.

    Raises
    ------
    InputError
        For a heading, where a field has a line to follow.
    """
    lined = [field.name for field in ground.fields if field.line is not None]
    if options.heading is not None and lined:
        what = tr(
            "The passes of {listed} follow a line, which is their heading.", listed=listed(lined)
        )
        raise InputError.at("--heading", "", what, tr("Leave one of them out."))
    drive = Drive(ground.width_m, implement=ground.implement)
    if ground.seeding:
        drive = drive_of(ground.seeding)
    given: dict[str, Any] = {
        "speed_mps": options.speed,
        "turn_speed_mps": options.turn_speed,
        "turn_radius_m": options.turn_radius,
        "rounds": options.rounds,
        "prefer": options.prefer,
        "headland": options.headland,
        "blocks": options.blocks,
        "tractor_length_m": options.tractor_length,
        "tractor_width_m": options.tractor_width,
        "heading_rad": None if options.heading is None else math.radians(90.0 - options.heading),
    }
    return replace(drive, **{key: value for key, value in given.items() if value is not None})
