"""From a season to its plan of interseeding, and to the folder of it: plan, report, write."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property, partial
from pathlib import Path
from typing import Any, ClassVar

import geopandas as gpd
import pandas as pd

from evenacre.errors import InputError
from evenacre.io.result_folder.ownership import PLAN, write_account
from evenacre.io.writers.calendar_ics import write_calendar
from evenacre.io.writers.file_names import REPORT
from evenacre.io.writers.results import write_passes
from evenacre.io.writers.tables import write_tables
from evenacre.language import tr
from evenacre.model import Grazing, Season, Seeding
from evenacre.planning.interseeding.plan import plan_interseeding
from evenacre.planning.interseeding.plan_types import InterseedPlan
from evenacre.planning.interseeding.progress import progress_of
from evenacre.planning.loads.stock_balance import left_in_cart
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.pages.calendar_entries import calendar_events
from evenacre.reports.pages.interseeding import interseed_lines, interseed_page
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.findings import refusals_in_words
from evenacre.reports.tables.accounts import interseed_account
from evenacre.reports.tables.interseeding import interseed_frames
from evenacre.units.display import in_both, unit_system
from evenacre.workflows.finished import FinishedWork
from evenacre.workflows.operations import Audited, audit_operations
from evenacre.workflows.pass_result import PassResult
from evenacre.workflows.result import Outcome, write_result


@dataclass(frozen=True, repr=False)
class Interseeding(PassResult):
    """Which grazed paddock to seed when, behind the herd.

    Attributes
    ----------
    season : Season
        What was read.
    plan : InterseedPlan
        The plan itself.
    generated : datetime
        When it was made.

    Examples
    --------
    >>> ev.interseed("season.toml").visits["paddock"].tolist()
    ['West paddock', 'East paddock']
    """

    account: ClassVar[str] = PLAN
    season: Season
    plan: InterseedPlan
    generated: datetime

    @cached_property
    def paddocks(self) -> gpd.GeoDataFrame:
        """A row a paddock, EPSG:4326: its window, ground and seed in SI units, and its outline."""
        rows = [
            {
                **_plain(paddock),
                **{key: (paddock["window"] or {}).get(key) for key in ("opens", "closes")},
            }
            for paddock in self.summary["paddocks"]
        ]
        outlines = [paddock.paddock.field.boundary for paddock in self.plan.paddocks]
        return gpd.GeoDataFrame(rows, geometry=outlines, crs="EPSG:4326")

    @cached_property
    def visits(self) -> pd.DataFrame:
        """A row a visit of the drill, in order of time, in SI units."""
        rows = [
            {"paddock": paddock["paddock"], **visit}
            for paddock in self.summary["paddocks"]
            for visit in paddock["visits"]
        ]
        return (
            pd.DataFrame(rows).sort_values("order", ignore_index=True) if rows else pd.DataFrame()
        )

    def _lines(self) -> tuple[str, ...]:
        units = unit_system(self.season.units)
        return tuple(interseed_lines(self.plan, units, warnings=self.season.warnings))

    def _summary(self) -> dict[str, Any]:
        return interseed_account(
            self.plan,
            farm=self.season.farm,
            generated=self.generated.isoformat(timespec="seconds"),
            inputs=self.season.inputs,
            warnings=self.season.warnings,
            time_zone=self.season.time_zone,
        )

    def _fill(self, stage: Path) -> dict[str, Any]:
        plan, season, units = self.plan, self.season, unit_system(self.season.units)
        page = interseed_page(
            plan,
            units,
            farm=season.farm,
            inputs=season.inputs,
            warnings=season.warnings,
            time_zone=season.time_zone,
        )
        (stage / REPORT).write_text(page, encoding="utf-8", newline="\n")
        write_tables(
            stage / "tables", stage / "tables.xlsx", interseed_frames(plan, Display(units))
        )
        write_passes(stage, self._files, farm=season.farm)
        events = calendar_events(plan, units, farm=season.farm, time_zone=season.time_zone)
        name = tr("Interseeding")
        if season.farm:
            name = tr("{farm}: interseeding", farm=season.farm)
        write_calendar(stage / "calendar.ics", events, name=name, generated=self.generated)
        return write_account(stage, PLAN, self.summary)

    @property
    def _driven(self) -> list[PassPlan]:
        return [p.passes for p in self.plan.paddocks if p.passes is not None]


def run_interseeding(
    season: Season,
    *,
    from_day: dt.date | None = None,
    in_cart_kg: float | None = None,
    jobs: int = 1,
    say: Callable[[str], None] = lambda _stage: None,
) -> Interseeding:
    """Plan the interseeding of a season's grazed paddocks.

    Parameters
    ----------
    season : Season
        With ``grazing`` and ``seeding``.
    from_day : date, optional
        Plan the rest of a season under way from this day on: operations of the season in its
        paddocks are audited, and what they seeded is done.
    in_cart_kg : float, optional
        Seed that is in the cart when the plan begins; what the last ticket tells, without it.
    jobs : int
        Processes to share many paddocks among.
    say : callable, optional
        Told each stage as it begins.

    Raises
    ------
    InputError
        When an operation cannot be audited, or the cart does not hold so much.
    ValueError
        When the season says nothing of paddocks or of seeding.
    """
    grazing, seeding = season.grazing, season.seeding
    if grazing is None or seeding is None:
        raise ValueError("a plan of interseeding needs paddocks and seeding")
    generated, progress = generation_time(), None
    if from_day is not None:
        season, audited = _audited(season, grazing, say)
        if in_cart_kg is None:
            in_cart_kg = left_in_cart(seeding.product, [a.loads for a in audited])
        progress = progress_of(
            from_day,
            seeding.product,
            _seeded(grazing),
            [a.result for a in audited],
            cart_told=in_cart_kg is not None or not seeding.bins,
        )
    if in_cart_kg:
        seeding = _with_cart(seeding, in_cart_kg)
    with refusals_in_words():
        plan = plan_interseeding(
            grazing, seeding, time_zone=season.time_zone, progress=progress, jobs=jobs, say=say
        )
    say(tr("writing the plan"))
    return Interseeding(season, plan, generated)


def _seeded(grazing: Grazing) -> list[str]:
    return [p.field.name for p in grazing.paddocks if p.seeded]


def _audited(
    season: Season, grazing: Grazing, say: Callable[[str], None]
) -> tuple[Season, list[Audited]]:
    """Audit what was done in the paddocks; the season keeps those operations alone."""
    there = tuple(o for o in season.operations if o.field.name in _seeded(grazing))
    season, audited, _ = audit_operations(
        replace(season, operations=there),
        jobs=1,
        draw=False,
        keep_tracks=False,
        finished=FinishedWork.open(),
        fresh=False,
        progress=lambda stage, _done: say(stage),
    )
    return season, audited


def _with_cart(seeding: Seeding, in_cart_kg: float) -> Seeding:
    """Put seed that is left in the cart into its compartments, as they would be left by sowing."""
    bins = seeding.bins
    full_kg, least_kg = (sum(getattr(b, key) for b in bins) for key in ("load_kg", "least_kg"))
    if in_cart_kg > full_kg:
        holds = f", which holds {in_both('mass', full_kg)}" if bins else ": no load is told"
        what = tr(
            "{in_both} cannot be in the cart{holds}.",
            in_both=in_both("mass", in_cart_kg),
            holds=holds,
        )
        raise InputError.at("in_cart", "", what, tr("Correct it, or load under [seeding]."))
    usable = max(in_cart_kg - least_kg, 0.0) / (full_kg - least_kg)
    least = min(in_cart_kg / least_kg, 1.0) if least_kg else 0.0
    held = [least * b.least_kg + usable * b.room_kg for b in bins]
    each = tuple(replace(b, start_kg=kg) for b, kg in zip(bins, held, strict=True))
    return replace(seeding, compartments=each, in_cart_kg=in_cart_kg)


def interseed_season(
    season: Season,
    out: Path,
    *,
    from_day: dt.date | None = None,
    in_cart_kg: float | None = None,
    jobs: int = 1,
    say: Callable[[str], None] = lambda _stage: None,
    written: Written | None = None,
) -> Outcome:
    """Plan the interseeding of a season's grazed paddocks and write the result folder.

    Parameters
    ----------
    season : Season
        With ``grazing`` and ``seeding``.
    out : Path
        Written whole or not at all.
    from_day : date, optional
        Plan the rest of a season under way from this day on; see :func:`run_interseeding`.
    in_cart_kg : float, optional
        Seed that is in the cart when the plan begins.
    jobs : int
        Processes to share many paddocks among.
    say : callable, optional
        Told each stage as it begins.
    written : Written, optional
        Told what was written, and of files that were kept.

    Returns
    -------
    Outcome
        Its summary is as in ``plan.json``.

    Raises
    ------
    InputError
        When the folder cannot be written.
    ValueError
        When the season says nothing of paddocks or of seeding.

    Examples
    --------
    >>> season = ev.load_season(Path("season.toml"), must_hold="seeding")
    >>> outcome = ev.interseed_season(season, Path("planned"))
    >>> outcome.summary["last_day"]
    '2026-08-24'
    """
    job = partial(
        run_interseeding, season, from_day=from_day, in_cart_kg=in_cart_kg, jobs=jobs, say=say
    )
    return write_result(Interseeding, out, job, written=written)


def _plain(entry: Mapping[str, Any]) -> dict[str, Any]:
    """What is no table within a table."""
    return {key: value for key, value in entry.items() if not isinstance(value, dict | list)}
