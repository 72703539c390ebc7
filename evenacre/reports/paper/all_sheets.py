"""Every sheet of a season by the name of its file."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping
from functools import partial
from typing import TypeVar

from evenacre.io.writers.file_names import SHEETS, unique_slugs
from evenacre.reports.paper.account import PaperJob, SeasonAccount
from evenacre.reports.paper.season_sheet import season_sheet
from evenacre.reports.paper.sheets import field_sheet, job_sheet, landlord_sheet, practice_sheet
from evenacre.reports.writers.typeset import Paper

_SEASON = "season"
K = TypeVar("K", bound=Hashable)


def sheets(account: SeasonAccount) -> Iterator[tuple[str, Paper]]:
    """Sheets of the season, of each job, field, landlord and practice, one after the other."""
    named = [*_each(account)]
    files = [_SEASON, *unique_slugs((name for name, _ in named), [_SEASON])]
    made: list[Callable[[], Paper]] = [partial(season_sheet, account)]
    made += [sheet for _, sheet in named]
    for file, sheet in zip(files, made, strict=True):
        yield f"{SHEETS}/{file}.pdf", sheet()


def _each(account: SeasonAccount) -> Iterator[tuple[str, Callable[[], Paper]]]:
    jobs, told = account.jobs, account.handover
    for one in jobs:
        r = one.result
        yield f"{r.field} {r.operation} {r.date}", partial(job_sheet, one, account)
    fields = {(r.field, r.operation): r.field for r in (one.result for one in jobs)}
    for field, own in _grouped(account, fields).items():
        yield f"field {field}", partial(field_sheet, field, own, account)
    owners = {key: told.landlords[f] for key, f in fields.items() if f in told.landlords}
    for landlord, own in _grouped(account, owners).items():
        yield f"landlord {landlord}", partial(landlord_sheet, landlord, own, account)
    for practice, own in _grouped(account, told.practices).items():
        name = f"practice {practice.code} {practice.name}"
        yield name, partial(practice_sheet, practice.name, practice.code, own, account)


def _grouped(
    account: SeasonAccount, groups: Mapping[tuple[str, str], K]
) -> dict[K, list[PaperJob]]:
    """Jobs by the group of their field and operation, where they have one."""
    found: dict[K, list[PaperJob]] = {}
    for one in account.jobs:
        key = groups.get((one.result.field, one.result.operation))
        if key is not None:
            found.setdefault(key, []).append(one)
    return found
