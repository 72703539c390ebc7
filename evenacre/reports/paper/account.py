"""What all papers of a season are made of, and what several of them hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import PurePath

from evenacre import __version__
from evenacre.language import tr
from evenacre.model import Handover, InputFile, OperationPlan
from evenacre.model.audit_result import AuditResult
from evenacre.planning.loads.stock_balance import Balance, OperationLoads
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.charts.job import halfway_chart
from evenacre.reports.figure_text import day
from evenacre.reports.maps.printed import map_beside_figures, rate_map
from evenacre.reports.maps.sheet import BESIDE_MAP
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import Card, JobLine, card
from evenacre.reports.writers.as_html import PageTable
from evenacre.reports.writers.typeset import Blanks, Lines, Part, Picture
from evenacre.units.display import UnitSystem

FOOT = f"Evenacre {__version__}"
_MOST_FILES = 8
_CHART_WIDE = 420  # CSS pixels: its letters are as large as those beside it


@dataclass(frozen=True)
class PaperJob:
    """A job for the papers; its map is drawn once, when it is first asked for."""

    job: AuditedJob
    loads: OperationLoads
    line: JobLine  # of the report's table of jobs
    display: Display

    @property
    def result(self) -> AuditResult:
        """What the audit found."""
        return self.job.result

    @property
    def about(self) -> str:
        """Name and day of the job."""
        return ", ".join(w for w in (self.result.operation, day(self.result.date)) if w)

    @cached_property
    def card(self) -> Card:
        """The answer in words."""
        display, loads = self.display, self.loads.loads
        return card(self.result, display.units, currency=display.currency, loads=loads)

    @cached_property
    def rate_maps(self) -> list[Picture]:
        """The rate of each product, where the log tells it."""
        r, units = self.result, self.display.units
        told = [
            tr("Map of the rate of {product} over {field}.", product=p.product, field=r.field)
            for p in r.products
        ]
        drawn = (rate_map(r, p, units, BESIDE_MAP).png for p in r.products)
        named = zip(r.products, drawn, told, strict=True) if r.tells_places else ()
        return [Picture(png, alt, title=p.product) for p, png, alt in named]

    @property
    def charts(self) -> list[Picture]:
        """What was left in the cart against the ground left."""
        drawn = (halfway_chart(check, self.display.units) for check in self.loads.halfway)
        return [Picture(chart.alone(_CHART_WIDE).encode(), chart.told) for chart in drawn]

    @cached_property
    def map(self) -> bytes:
        """What was covered and missed, for part of a page."""
        return map_beside_figures(self.result, self.display.units).png

    def map_beside(self, beside: Sequence[Part] = ()) -> Picture:
        """The map, with other parts beside it."""
        told = tr(
            "Map of {field}, north up: what was covered once, again and not at all. {headline}.",
            field=self.result.field,
            headline=self.card.headline,
        )
        return Picture(self.map, told, beside)


@dataclass(frozen=True)
class SeasonAccount:
    """Everything that the papers of a season tell of."""

    farm: str
    jobs: Sequence[PaperJob]
    ledger: Ledger
    display: Display
    inputs: Sequence[InputFile]
    warnings: Sequence[str]  # of the inputs as a whole
    balances: Sequence[Balance]
    handover: Handover

    @property
    def units(self) -> UnitSystem:
        """Of the figures."""
        return self.display.units

    def foot(self, about: str) -> str:
        """What stands at the foot of every page."""
        return f"{FOOT}. {about}."

    @property
    def signed(self) -> list[Part]:
        """Whom to ask, and lines to sign on."""
        signature = (tr("Signature"), tr("Name in letters"), tr("Date"))
        if contact := self.handover.contact:
            asked = tr("Questions about this sheet go to {contact}.", contact=contact)
            return [Lines("", (asked,)), Blanks((signature,))]
        return [
            Blanks(((tr("Questions about this sheet go to"), tr("Telephone")), signature)),
        ]

    def files_of(self, jobs: Sequence[PaperJob]) -> Sequence[InputFile]:
        """Files of some jobs, where those of the season would fill the sheet."""
        if len(self.inputs) <= _MOST_FILES:
            return self.inputs
        plans = (one.job.plan for one in jobs if isinstance(one.job.plan, OperationPlan))
        paths = (p for q in plans for p in (*q.track_files, *q.blockage_files, q.ticket_file))
        names = {path.name for path in paths if path is not None}
        own = [file for file in self.inputs if PurePath(file.path).name in names]
        return own or self.inputs


def days_of(jobs: Sequence[PaperJob]) -> str:
    """The first day of some jobs, and the last."""
    days = [day(d) for d in sorted(one.result.date for one in jobs if one.result.date)]
    if not days or days[0] == days[-1]:
        return "".join(days[:1])
    return tr("{first} to {last}", first=days[0], last=days[-1])


def jobs_table(jobs: Sequence[PaperJob], costs: Sequence[str] = ()) -> PageTable:
    """Jobs line by line; without costs there is no column of them."""
    head = [tr("Field"), tr("Job"), tr("Put down"), tr("Covered"), tr("Missed")]
    head += [tr("Covered again"), tr("Cost")]
    rows = [
        (
            one.result.field,
            one.about,
            "; ".join(one.line.put_down),
            one.line.ground,
            one.line.missed,
            one.line.doubled,
            cost,
        )
        for one, cost in zip(jobs, costs or [""] * len(jobs), strict=True)
    ]
    doubted = [f"{one.result.field}, {one.about}" for one in jobs if one.line.doubts]
    remark = tr(
        "Before these figures are used, read the warnings of {jobs}.", jobs="; ".join(doubted)
    )
    return PageTable(tr("Jobs"), tuple(head), rows, words=3, remark=remark if doubted else "")
