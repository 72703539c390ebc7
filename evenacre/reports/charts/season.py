"""Charts of a season: jobs side by side, nutrients against need, own work against hired."""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.language import mark, tr, trn
from evenacre.model.audit_result import AuditResult
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports import figure_text as figures
from evenacre.reports.charts.plot import Bar, Chart, Sign, bars
from evenacre.reports.sentences.season import ground, own_over_hired
from evenacre.units.display import UnitSystem

_KINDS = {"short": "less", "met": "good", "over": "more"}
_VERDICTS = {"short": mark("short"), "met": mark("met"), "over": mark("over")}


def season_charts(
    results: Sequence[AuditResult], ledger: Ledger, units: UnitSystem, currency: str
) -> list[Chart]:
    """Every chart of a season that has something to compare."""
    found = (jobs_chart(results), needs_chart(ledger, units), hired_chart(ledger, currency))
    return [chart for chart in found if chart]


def jobs_chart(results: Sequence[AuditResult]) -> Chart | None:
    """Draw what of its ground each job missed and covered again; None of one job."""
    told = [r for r in results if r.tells_places and r.workable_area_m2]
    if len(told) < 2:
        return None

    def bar(kind: str, part_m2: float, r: AuditResult) -> Bar:
        share = part_m2 / r.workable_area_m2
        return Bar(kind, share, figures.share(part_m2, r.workable_area_m2))

    rows = [
        (
            ", ".join(dict.fromkeys((r.field, r.operation))),
            [bar("missed", r.skip_area_m2, r), bar("doubled", r.overlap_area_m2, r)],
        )
        for r in told
    ]
    missed = max(told, key=lambda r: r.skip_area_m2 / r.workable_area_m2)
    doubled = max(told, key=lambda r: r.overlap_area_m2 / r.workable_area_m2)
    title = tr(
        "The largest shares: missed {less} ({missed}), covered again {more} ({doubled})",
        missed=", ".join(dict.fromkeys((missed.field, missed.operation))),
        less=figures.share(missed.skip_area_m2, missed.workable_area_m2),
        doubled=", ".join(dict.fromkeys((doubled.field, doubled.operation))),
        more=figures.share(doubled.overlap_area_m2, doubled.workable_area_m2),
    )
    legend = (Sign("missed", tr("missed")), Sign("doubled", tr("covered twice or more")))
    return bars(title, rows, legend=legend, name="jobs")


def needs_chart(ledger: Ledger, units: UnitSystem) -> Chart | None:
    """Draw what was put down on average against each need; None of one need."""
    if len(ledger.needs) < 2:
        return None
    rows = []
    for b in ledger.needs:
        said = tr(
            "{rate}: {verdict}",
            rate=units.rate.text(b.mean_kg_per_m2),
            verdict=tr(_VERDICTS[b.verdict]),
        )
        words = tr(
            "{ground}: {nutrient}, {need} needed",
            ground=ground(b),
            nutrient=b.need.nutrient,
            need=figures.told_rate(b.need.kg_per_m2, units),
        )
        rows.append((words, [Bar(_KINDS[b.verdict], b.mean_kg_per_m2, said, b.need.kg_per_m2)]))
    met = sum(b.verdict == "met" for b in ledger.needs)
    title = trn(
        "{count:,} of {needs:,} needs is met on average",
        "{count:,} of {needs:,} needs are met on average",
        met,
        needs=len(ledger.needs),
    )
    return bars(title, rows, legend=(Sign("wanted", tr("needed"), line=True),), name="needs")


def hired_chart(ledger: Ledger, currency: str) -> Chart | None:
    """Draw own work against the quote for a hired driver, where both are known."""
    compared = [m for m in ledger.money if m.own_over_hired is not None]
    if not compared:
        return None
    rows = [
        (
            ", ".join(dict.fromkeys((m.field, m.operation))),
            [
                Bar("own", m.own_work or 0.0, figures.money(m.own_work or 0.0, currency)),
                Bar("hired", m.hired_work or 0.0, figures.money(m.hired_work or 0.0, currency)),
            ],
        )
        for m in compared
    ]
    over = sum(map(own_over_hired, compared))
    more = figures.money(abs(over), currency)
    title = tr("Own work cost {more} less than hired at the quote", more=more)
    if over > 0:
        title = tr("Own work cost {more} more than hired at the quote", more=more)
    legend = (Sign("own", tr("own work")), Sign("hired", tr("hired")))
    return bars(title, rows, legend=legend, name="own_and_hired")
