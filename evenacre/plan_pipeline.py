"""From a season to a folder with its plan of interseeding: plan, report, write."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from evenacre.generation import generation_time
from evenacre.io.calendar_out import write_calendar
from evenacre.io.ownership import PLAN, write_account
from evenacre.io.passes_out import write_passes
from evenacre.io.staging import staged_folder
from evenacre.io.table_out import write_tables
from evenacre.model import Season
from evenacre.pipeline import Outcome
from evenacre.planning.interseeding.plan import plan_interseeding
from evenacre.reports.interseed_account import interseed_account
from evenacre.reports.interseed_calendar import calendar_events
from evenacre.reports.interseed_page import interseed_page
from evenacre.reports.interseed_tables import interseed_tables
from evenacre.reports.interseed_words import interseed_lines
from evenacre.reports.pass_files import pass_files
from evenacre.units import unit_system
from evenacre.written import Written


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
        write_tables(stage / "tables", stage / "tables.xlsx", interseed_tables(plan, units))
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
