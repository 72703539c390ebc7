"""From a season to a folder with its plan of interseeding: plan, report, write."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from evenacre.io.result_folder.ownership import PLAN, write_account
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.writers.calendar_ics import write_calendar
from evenacre.io.writers.results import write_passes
from evenacre.io.writers.tables import write_tables
from evenacre.model import Season
from evenacre.planning.interseeding.plan import plan_interseeding
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.column import Display
from evenacre.reports.maps.pass_layers import pass_files
from evenacre.reports.pages.calendar_entries import calendar_events
from evenacre.reports.pages.interseeding import interseed_lines, interseed_page
from evenacre.reports.tables.interseeding import interseed_account, interseed_frames
from evenacre.units.display import unit_system
from evenacre.workflows.audit import Outcome


def interseed_season(
    season: Season,
    out: Path,
    *,
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
    """
    if season.grazing is None or season.seeding is None:
        raise ValueError("a plan of interseeding needs paddocks and seeding")
    units = unit_system(season.units)
    generated = generation_time()
    with staged_folder(out, PLAN, written=written) as stage:
        plan = plan_interseeding(
            season.grazing, season.seeding, time_zone=season.time_zone, say=say
        )
        say("writing the plan")
        page = interseed_page(
            plan,
            units,
            farm=season.farm,
            inputs=season.inputs,
            warnings=season.warnings,
            time_zone=season.time_zone,
        )
        (stage / "report.html").write_text(page, encoding="utf-8", newline="\n")
        frames = interseed_frames(plan, Display(units))
        write_tables(stage / "tables", stage / "tables.xlsx", frames)
        drives = [p.passes for p in plan.paddocks if p.passes is not None]
        write_passes(stage, pass_files(drives), farm=season.farm)
        events = calendar_events(plan, units, farm=season.farm, time_zone=season.time_zone)
        write_calendar(
            stage / "calendar.ics", events, name=_calendar_name(season), generated=generated
        )
        account = interseed_account(
            plan,
            farm=season.farm,
            generated=generated.isoformat(timespec="seconds"),
            inputs=season.inputs,
            warnings=season.warnings,
            time_zone=season.time_zone,
        )
        account = write_account(stage, PLAN, account)
    return Outcome(account, tuple(interseed_lines(plan, units, warnings=season.warnings)))


def _calendar_name(season: Season) -> str:
    return f"{season.farm}: interseeding" if season.farm else "Interseeding"
