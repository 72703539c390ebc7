"""Sheets of jobs: of one, of a field, of a landlord, of a practice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from evenacre.language import tr
from evenacre.reports.paper.account import PaperJob, SeasonAccount, days_of, jobs_table
from evenacre.reports.sentences.audit import cautions
from evenacre.reports.sentences.handed_over import (
    CAUTION,
    certainty,
    doubt_lines,
    other_warnings,
    read_from,
    setback_lines,
    unknown_products,
)
from evenacre.reports.tables import audit_products as by_product
from evenacre.reports.tables.audit import ground_in_short
from evenacre.reports.tables.season import costs_on_paper, job_sheet_tables, together_tables
from evenacre.reports.writers.as_html import page_table
from evenacre.reports.writers.typeset import Lines, Paper, Part, Section, Small


def job_sheet(one: PaperJob, account: SeasonAccount) -> Paper:
    """Put together the sheet of one job."""
    r = one.result
    warned = Lines(tr("Cautions"), (tr(CAUTION), *cautions(r, to_drive=False)))
    parts = [
        *_told(one, account, [warned]),
        Small([*_unsaid(one), *read_from(account.files_of([one]))]),
        *account.signed,
    ]
    title = f"{r.field}: {one.card.headline}"
    return Paper(account.farm, title, one.about, parts, account.foot(f"{r.field}, {one.about}"))


def field_sheet(field: str, jobs: Sequence[PaperJob], account: SeasonAccount) -> Paper:
    """Put together the sheet of a field, with all its jobs."""
    title = tr("{field}: the season", field=field)
    return _of_several(title, days_of(jobs), jobs, account)


def landlord_sheet(landlord: str, jobs: Sequence[PaperJob], account: SeasonAccount) -> Paper:
    """Put together what a landlord is told of his ground; costs only if the season says so."""
    title = tr("Work on the ground of {landlord}", landlord=landlord)
    names = {(one.result.field, one.result.operation) for one in jobs}
    spent = [m for m in account.ledger.money if (m.field, m.operation) in names]
    told = account.handover.landlord_costs and spent
    costs: list[Part] = [costs_on_paper(spent, account.display)] if told else []
    return _of_several(title, days_of(jobs), jobs, account, costs)


def practice_sheet(
    practice: str, code: str, jobs: Sequence[PaperJob], account: SeasonAccount
) -> Paper:
    """Put together what was done for a conservation practice."""
    title = tr("Practice: {practice}", practice=practice)
    if code:
        title = tr("Practice: {practice}, code {code}", practice=practice, code=code)
    return _of_several(title, days_of(jobs), jobs, account)


def _of_several(
    title: str,
    about: str,
    jobs: Sequence[PaperJob],
    account: SeasonAccount,
    more: Sequence[Part] = (),
) -> Paper:
    """Jobs in a table, what they come to together, then each by itself."""
    unknown = unknown_products(one.result for one in jobs)
    several = len({one.result.field for one in jobs}) > 1
    sections = [
        Section(
            f"{one.result.field}: {one.about}" if several else one.about,
            one.card.headline,
            list(_told(one, account)),
        )
        for one in jobs
    ]
    unsaid = [f"{one.about}: {text}" for one in jobs for text in _unsaid(one)]
    parts: list[Part] = [
        jobs_table(jobs),
        *together_tables([one.job for one in jobs], account.display, left_out=unknown),
        *more,
        *sections,
        Lines(tr("Cautions"), (tr(CAUTION), *_cautions(jobs))),
        Small([*unsaid, *read_from(account.files_of(jobs))]),
        *account.signed,
    ]
    return Paper(account.farm, title, about, parts, account.foot(title))


def _told(one: PaperJob, account: SeasonAccount, warned: Sequence[Part] = ()) -> Iterator[Part]:
    """What is to be read first, map and ground, what was put down, setbacks."""
    r, display = one.result, account.display
    if doubts := doubt_lines(r, one.card):
        yield Lines("", doubts, marked=True)
    ground = ground_in_short(r, display)
    beside: list[Part] = [Lines("", (certainty(r, account.units),))]
    yield one.map_beside([*beside, *([ground] if ground.rows else []), *warned])
    yield from job_sheet_tables(one.job, account.ledger, display, left_out=unknown_products([r]))
    yield Lines(tr("Setbacks"), setback_lines(r))
    if landed := by_product.setbacks(r):
        yield replace(page_table(by_product.SETBACKS, landed, display), title="")


def _unsaid(one: PaperJob) -> list[str]:
    return other_warnings(one.result, doubt_lines(one.result, one.card))


def _cautions(jobs: Sequence[PaperJob]) -> list[str]:
    every = (text for one in jobs for text in cautions(one.result, to_drive=False))
    return list(dict.fromkeys(every))
