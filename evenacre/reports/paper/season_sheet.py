"""The sheet over the season: its jobs, what it put down, needs and money."""

from __future__ import annotations

from evenacre.language import tr
from evenacre.planning.season.season_totals import money
from evenacre.reports.paper.account import SeasonAccount, days_of, jobs_table
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.handed_over import (
    CAUTION,
    FOLLOW,
    read_from,
    unknown_lines,
    unknown_products,
)
from evenacre.reports.sentences.season import cost_lines, job_cost, season_card
from evenacre.reports.tables.loads import BALANCES
from evenacre.reports.tables.season import season_sheet_tables
from evenacre.reports.writers.as_html import page_table
from evenacre.reports.writers.typeset import Lines, Paper, Part, Small


def season_sheet(account: SeasonAccount) -> Paper:
    """Put together the sheet over all jobs."""
    ledger, display, balances = account.ledger, account.display, account.balances
    said = season_card(ledger, display.units, currency=display.currency, balances=balances)
    unknown = unknown_products(one.result for one in account.jobs)
    doubts = [
        *unknown_lines(unknown),
        *account.warnings,
        *sentences(ledger.findings, "warning"),
    ]
    parts: list[Part] = [Lines("", doubts, marked=True)] if doubts else []
    costs = [job_cost(money(one.job), display.currency) for one in account.jobs]
    parts.append(jobs_table(account.jobs, costs))
    jobs = [one.job for one in account.jobs]
    parts += season_sheet_tables(jobs, ledger, display, left_out=unknown)
    if lines := list(cost_lines(ledger, display.currency)):
        parts.append(Lines("", lines))
    if balances:
        parts.append(page_table(BALANCES, balances, display))
    parts += [
        Lines(tr("Cautions"), (f"{tr(CAUTION)} {tr(FOLLOW)}",)),
        Small(read_from(account.inputs)),
        *account.signed,
    ]
    title = tr("The season")
    if said and ledger.needs:
        title = tr("The season: {headline}", headline=said.headline)
    foot = account.foot(account.farm)
    return Paper(account.farm, title, days_of(account.jobs), parts, foot)
