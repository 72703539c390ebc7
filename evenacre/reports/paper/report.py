"""The whole report on paper: the season first, then each job; passes are left to the tables."""

from __future__ import annotations

from dataclasses import replace

from evenacre.language import tr, trn
from evenacre.planning.interseeding.comparison import PlannedDone
from evenacre.planning.season.season_totals import money
from evenacre.reports import figure_text as figures
from evenacre.reports.paper.account import PaperJob, SeasonAccount, days_of, jobs_table
from evenacre.reports.sentences.audit import cautions, records_sentence
from evenacre.reports.sentences.data_words import in_words
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.fix_list import advice, kind_words, stops
from evenacre.reports.sentences.handed_over import doubt_lines, read_from
from evenacre.reports.sentences.plan_against_done import TITLE, planned_done_card
from evenacre.reports.sentences.season import cost_lines, job_cost, season_card
from evenacre.reports.tables.audit import (
    GROUND_WORDS,
    WORK_WORDS,
    boundary_line,
    ground_table,
    products_on_paper,
    work_table,
)
from evenacre.reports.tables.loads import BALANCES, load_page_tables
from evenacre.reports.tables.plan_against_done import planned_done_page_table
from evenacre.reports.tables.season import season_page_tables
from evenacre.reports.writers.as_html import PageTable, page_table
from evenacre.reports.writers.typeset import Lines, Paper, Part, Row, Section, Small

_MAPS = (68, 53, 53)  # how wide that of the ground is beside those of rates
_ELSEWHERE = ("log", "product")  # kinds of a card's lines
_PLACES = 3  # to go back to that are told of one job; the rest are in the fix list


def report(account: SeasonAccount, planned_done: PlannedDone | None = None) -> Paper:
    """Put together the report of a season, or of one job."""
    doubts = [
        *account.warnings,
        *(
            f"{one.result.field}, {one.about}: {said}"
            for one in account.jobs
            for said in one.line.doubts
        ),
    ]
    costs = [job_cost(money(one.job), account.display.currency) for one in account.jobs]
    parts: list[Part] = [
        *([Lines(tr("Look at this first"), doubts, marked=True)] if doubts else []),
        jobs_table(account.jobs, costs),
        *_season(account),
        *(_planned_done(planned_done, account) if planned_done else []),
        *(_job(one, account) for one in account.jobs),
        Lines(
            tr("Take care"),
            [*dict.fromkeys(said for one in account.jobs for said in cautions(one.result))],
        ),
        Lines(tr("What the words mean"), [tr(GROUND_WORDS), tr(WORK_WORDS)]),
        Section(tr("Files"), "", [Small(read_from(account.inputs))]),
    ]
    title = account.farm or tr("What was covered")
    about = days_of(account.jobs)
    return Paper(tr("Ground account"), title, about, parts, account.foot(title), points=6.5)


def _season(account: SeasonAccount) -> list[Part]:
    """What all jobs put down together; nothing where nothing is to be told."""
    ledger, display, balances = account.ledger, account.display, account.balances
    said = season_card(ledger, display.units, currency=display.currency, balances=balances)
    warned = sentences(ledger.findings, "warning")
    parts: list[Part] = [Lines("", warned, marked=True)] if warned else []
    costs = [*cost_lines(ledger, display.currency)]
    parts += [Lines("", costs)] if costs else []
    parts += season_page_tables(ledger, display, together=True)
    parts += [page_table(BALANCES, balances, display)] if balances else []
    return [Section(tr("The season"), said.headline if said else "", parts)] if parts else []


def _planned_done(compared: PlannedDone, account: SeasonAccount) -> list[Part]:
    said = planned_done_card(compared, account.units)
    warned = sentences(compared.findings, "warning")
    parts: list[Part] = [
        *([Lines("", warned, marked=True)] if warned else []),
        planned_done_page_table(compared, account.display, strip=False),
    ]
    return [Section(tr(TITLE), said.headline, parts)]


def _job(one: PaperJob, account: SeasonAccount) -> Section:
    r, display = one.result, account.display
    warned, notes = (sentences(r.findings, kind) for kind in ("warning", "note"))
    ground, work = ground_table(r, display), work_table(r, display)
    amounts, narrow, setbacks = products_on_paper(r, display)
    worked_out = Small([records_sentence(r, account.units), *notes])
    # What is marked, or stands in the table of amounts, is not told twice.
    doubts = list(dict.fromkeys([*doubt_lines(r, one.card), *warned]))
    told = [said for kind, said in one.card.lines if kind not in _ELSEWHERE and said not in doubts]
    parts: list[Part] = [
        *([Lines("", doubts, marked=True)] if doubts else []),
        Lines("", told),
        Row([one.map_beside(), *one.rate_maps], _MAPS),
        Row(
            [
                replace(ground, remark=boundary_line(r, display) if r.tells_places else ""),
                replace(work, remark=""),
            ],
            (11, 8),
        ),
        *_places(one),
        *amounts,
        *([Row(narrow, (7, 11))] if len(narrow) > 1 else narrow),
        *setbacks,
        *load_page_tables(one.loads, display),
        Row([*charts, worked_out], (1, 1, 1)) if (charts := one.charts) else worked_out,
    ]
    return Section(f"{r.field}: {one.about}", one.card.headline, parts)


def _places(one: PaperJob) -> list[Part]:
    """The places missed, by name those that come first in the list."""
    frame, units = stops(one.result), one.display.units
    if not len(frame):
        return []
    rows = [
        (
            f"{s.skip}: {figures.size(s.area_m2, units)}, {kind_words(s.kind, s.cause)}; "
            f"{in_words(s.verdict)}",
            f"{where} ({s.lat:.6f}, {s.lon:.6f})",
        )
        for s, where in zip(frame.itertuples(), advice(one.result, units), strict=True)
    ]
    left = len(rows) - _PLACES
    remark = ""
    if left > 0:
        size = figures.size(float(frame["area_m2"].iloc[_PLACES:].sum()), units)
        remark = trn(
            "{count} more place, {size}, is in the fix list.",
            "{count} more places, {size} in all, are in the fix list.",
            left,
            size=size,
        )
    head = (tr("What is missed"), tr("Where (latitude, longitude)"))
    return [PageTable(tr("What to do"), head, rows[:_PLACES], words=2, remark=remark)]
