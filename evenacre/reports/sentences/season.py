"""A season in plain words: what is planned to be placed, needs met or not, and what it cost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from evenacre.io.common.findings import counted
from evenacre.model import OperationPlan, PlannedRate
from evenacre.planning.loads.stock_balance import Balance
from evenacre.planning.season.needs import NeedBalance
from evenacre.planning.season.nutrients import Placement
from evenacre.planning.season.season_totals import Ledger, Money
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card, first_lines
from evenacre.reports.sentences.loads import balance_sentence
from evenacre.units.display import UnitSystem

_WORTH_SAYING = 0.005  # of a need's ground


def season_card(
    ledger: Ledger,
    units: UnitSystem,
    *,
    currency: str = "USD",
    balances: Sequence[Balance] = (),
) -> Card | None:
    """Say the answer of the season; None without needs, prices and balances that do not close."""
    open_balances = [b for b in balances if b.explained is False]
    if not ledger.needs and not ledger.money and not open_balances:
        return None
    headline = "What it cost" if ledger.money else "What went where"
    if ledger.needs:
        met = sum(b.verdict == "met" for b in ledger.needs)
        headline = f"{met} of {len(ledger.needs)} needs met on average"
    farthest = sorted(ledger.needs, key=_off, reverse=True)
    needs = [(b.verdict, _sentence(b, units)) for b in farthest]
    lines = [
        *first_lines(needs, "cost", "needs are in the tables"),
        *(("scale", balance_sentence(b, units)) for b in open_balances),
        *(("cost", text) for text in _costs(ledger, currency)),
    ]
    return Card(headline, tuple(lines))


def _off(balance: NeedBalance) -> float:
    need = balance.need.kg_per_m2
    if need == 0:
        return float(balance.mean_kg_per_m2 > 0)
    return abs(balance.mean_kg_per_m2 / need - 1)


def _sentence(b: NeedBalance, units: UnitSystem) -> str:
    put = units.rate.text(b.mean_kg_per_m2).removesuffix(f" {units.rate.label}")
    text = f"{ground(b)}: {put} of {units.rate.text(b.need.kg_per_m2)} {b.need.nutrient} on average"
    sides = [
        f"{word} on {figures.size(area, units)}"
        for word, area in (("met", b.met_m2), ("short", b.short_m2), ("over", b.over_m2))
        if area > _WORTH_SAYING * b.area_m2
    ]
    return f"{text}; {', '.join(sides)}."


def _costs(ledger: Ledger, currency: str) -> Iterator[str]:
    def money(amounts: list[float]) -> str:
        return figures.money(sum(amounts), currency)

    if overlap := [c for m in ledger.money for c in (m.overlap_product, m.overlap_time) if c]:
        yield f"Overlap cost {money(overlap)}."
    if missed := [c for m in ledger.money for c in (m.skip_product, m.skip_time) if c]:
        yield (
            f"Filling what was missed takes {money(missed)} of product and time; the stand lost is "
            "not priced."
        )
    if compared := [m for m in ledger.money if m.own_over_hired is not None]:
        own = [m.own_work or 0.0 for m in compared]
        over = sum(own) - sum(m.hired_work or 0.0 for m in compared)
        yield (
            f"Own work cost {money(own)}, {money([abs(over)])} {'more' if over > 0 else 'less'} "
            "than hired at the quote."
        )


def place(field: str, zone: str | None) -> str:
    """Name a field, or one of its zones."""
    return f"{field}, {zone}" if zone else field


def ground(b: NeedBalance) -> str:
    """Name the ground of a need."""
    if b.left_out:
        return f"{b.need.field}, but for {' and '.join(b.left_out)}"
    return place(b.need.field, b.need.zone)


def analysis_text(analysis: Mapping[str, float]) -> str:
    """Write a label's percentages: ``N 18 %, P2O5 46 %``."""
    return ", ".join(f"{name} {percent:g} %" for name, percent in analysis.items() if percent)


def analysis(p: Placement) -> str:
    """Say what a product holds, or that it is seed."""
    return analysis_text(p.analysis) or ("seed" if p.kind == "seed" else "")


def placements_remark(rows: Sequence[Placement]) -> str:
    """Say where the rates come from."""
    text = (
        "Rate is the mean over the area covered; the total is what lies on it. The same list is in "
        "tables/placements.csv."
    )
    if guessed := ", ".join(dict.fromkeys(p.product for p in rows if p.amounts_from == "target")):
        text += f" No rate of {guessed} is logged everywhere: its target rate stands in for it."
    return text


def needs_remark(rows: Sequence[NeedBalance]) -> str:
    """Say when a need is met, and how well that is known."""
    text = "Met is ground whose total of the season is within 10 % of the need."
    if any(b.judged_by != "cell" for b in rows):
        text += " Some of it could only be judged by the mean of a zone or field."
    return text


def money_remark(rows: Sequence[Money]) -> str:
    """Say what the sums leave out."""
    text = (
        "Missed ground is priced at the product and time it takes to fill it; the stand lost "
        "there is not priced."
    )
    if lacking := ", ".join(dict.fromkeys(name for m in rows for name in m.unpriced)):
        text += f" No price is given for {lacking}, so it is in no sum."
    return text


def planned_rate_lines(
    jobs: Iterable[tuple[OperationPlan, tuple[PlannedRate, ...]]], units: UnitSystem
) -> Iterator[str]:
    """Say the rates of every operation, and those of zones."""
    for job, rates in jobs:
        zones = 0 if job.field.zones is None else len(job.field.zones)
        drawn = f" ({counted(zones, 'zone')})" if zones else ""
        yield f"{job.field.name}{drawn}, {job.name}:"
        for rate in rates:
            yield f"  {_rate_line(rate, units)}"
        if not rates:
            yield "  no target rate: the boundary and zones alone"


def _rate_line(rate: PlannedRate, units: UnitSystem) -> str:
    parts = [f"{zone} {units.rate.text(value)}" for zone, value in rate.by_zone.items()]
    if rate.kg_per_m2 is not None:
        text = units.rate.text(rate.kg_per_m2)
        parts.append(f"elsewhere {text}" if parts else text)
    why = f" (as {rate.nutrient} is needed)" if rate.by_zone and rate.nutrient else ""
    return f"{rate.product}: {', '.join(parts)}{why}"
