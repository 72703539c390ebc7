"""A season in plain words: what is planned to be placed, needs met or not, and what it cost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from evenacre.language import mark, number, tr, trn
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
    headline = tr("What it cost") if ledger.money else tr("What went where")
    if ledger.needs:
        met = sum(b.verdict == "met" for b in ledger.needs)
        headline = tr("{met} of {count} needs met on average", met=met, count=len(ledger.needs))
    farthest = sorted(ledger.needs, key=_off, reverse=True)
    needs = [(b.verdict, _sentence(b, units)) for b in farthest]
    lines = [
        *first_lines(needs, "cost", mark("{more} more needs are in the tables.")),
        *(("scale", balance_sentence(b, units)) for b in open_balances),
        *(("cost", text) for text in cost_lines(ledger, currency)),
    ]
    return Card(headline, tuple(lines))


def _off(balance: NeedBalance) -> float:
    need = balance.need.kg_per_m2
    if need == 0:
        return float(balance.mean_kg_per_m2 > 0)
    return abs(balance.mean_kg_per_m2 / need - 1)


def _sentence(b: NeedBalance, units: UnitSystem) -> str:
    put = units.rate.text(b.mean_kg_per_m2).removesuffix(f" {units.rate.word}")
    text = tr(
        "{ground}: {put} of {rate} {nutrient} on average",
        ground=ground(b),
        put=put,
        rate=figures.told_rate(b.need.kg_per_m2, units),
        nutrient=b.need.nutrient,
    )
    area = {
        key: units.area.text(m2)
        for key, m2 in (("met", b.met_m2), ("short", b.short_m2), ("over", b.over_m2))
        if m2 > _WORTH_SAYING * b.area_m2
    }
    sides = [
        *([tr("met on {area}", area=area["met"])] if "met" in area else []),
        *([tr("short on {area}", area=area["short"])] if "short" in area else []),
        *([tr("over on {area}", area=area["over"])] if "over" in area else []),
    ]
    return f"{text}; {', '.join(sides)}."


def cost_lines(ledger: Ledger, currency: str) -> Iterator[str]:
    """Say what overlap and missed ground cost, and own work beside hired."""

    def money(amounts: list[float]) -> str:
        return figures.money_in_all(amounts, currency)

    if overlap := [c for m in ledger.money for c in (*m.overlap_each, m.overlap_time) if c]:
        yield tr("Overlap cost {money} of product and time.", money=money(overlap))
    if missed := [c for m in ledger.money for c in (m.skip_product, m.skip_time) if c]:
        yield tr(
            "Filling what was missed takes {money} of product and time; the stand lost "
            "is not priced.",
            money=money(missed),
        )
    if compared := [m for m in ledger.money if m.own_over_hired is not None]:
        own = [m.own_work or 0.0 for m in compared]
        over = sum(map(own_over_hired, compared))
        quoted = len(compared)
        which = trn(
            "Own work on the job with a quote", "Own work on the {count} jobs with a quote", quoted
        )
        if quoted == len(ledger.money):
            which = tr("Own work")
        said = {"which": which, "money": money(own), "apart": figures.money(abs(over), currency)}
        if over > 0:
            yield tr("{which} cost {money}, {apart} more than hired at the quote.", **said)
        else:
            yield tr("{which} cost {money}, {apart} less than hired at the quote.", **said)


def own_over_hired(m: Money) -> int:
    """How much more own work cost than hired, of the two as they are printed."""
    return round(m.own_work or 0.0) - round(m.hired_work or 0.0)


def own_beside_hired(m: Money, currency: str) -> str:
    """Say how much dearer or cheaper own work was; nothing without a quote."""
    if m.own_over_hired is None:
        return ""
    over = own_over_hired(m)
    money = figures.money(abs(over), currency)
    if over > 0:
        return tr("own {money} dearer", money=money)
    return tr("own {money} cheaper", money=money) if over else tr("as much as hired")


def job_cost(m: Money, currency: str) -> str:
    """Say what a job cost, product and time in the field; empty where no price is known."""
    kinds = {tr("product"): m.product, tr("own work"): m.own_work}
    known = {name: cost for name, cost in kinds.items() if cost is not None}
    if not known:
        return ""
    said = figures.money_in_all(known.values(), currency)
    if len(known) < len(kinds):
        said += tr(", {kind} alone", kind=next(iter(known)))
    return (
        tr("{said}, without {names}", said=said, names=tr(" and ").join(m.unpriced))
        if m.unpriced and m.product
        else said
    )


def place(field: str, zone: str | None) -> str:
    """Name a field, or one of its zones."""
    return f"{field}, {zone}" if zone else field


def ground(b: NeedBalance) -> str:
    """Name the ground of a need."""
    if b.left_out:
        return tr("{field} outside {names}", field=b.need.field, names=tr(" and ").join(b.left_out))
    return place(b.need.field, b.need.zone)


def analysis_text(analysis: Mapping[str, float]) -> str:
    """Write a label's percentages: ``N 18 %, P2O5 46 %``."""
    return ", ".join(
        f"{name} {number(percent, 'g')} %" for name, percent in analysis.items() if percent
    )


def analysis(p: Placement) -> str:
    """Say what a product holds, or that it is seed."""
    return analysis_text(p.analysis) or (tr("seed") if p.kind == "seed" else "")


def placements_remark(rows: Sequence[Placement]) -> str:
    """Say where the rates come from."""
    text = tr(
        "Rate is the mean over the area covered; the total is what lies on it. The same "
        "list is in tables/placements.csv."
    )
    return f"{text} {by_target_remark(rows)}".rstrip()


def by_target_remark(rows: Sequence[Placement]) -> str:
    """Say which rates were taken for true; nothing where all are logged."""
    guessed = ", ".join(dict.fromkeys(p.product for p in rows if p.amounts_from == "target"))
    if not guessed:
        return ""
    return tr(
        "No rate of {guessed} is logged everywhere: its target rate stands in for it.",
        guessed=guessed,
    )


def needs_remark(rows: Sequence[NeedBalance]) -> str:
    """Say when a need is met, and how well that is known."""
    text = tr("Met is ground whose total of the season is within 10 % of the need.")
    if any(b.judged_by != "cell" for b in rows):
        text += tr(" Some of it could only be judged by the mean of a zone or field.")
    return text


def money_remark(rows: Sequence[Money]) -> str:
    """Say what the sums leave out."""
    text = tr(
        "Missed ground is priced at the product and time it takes to fill it; the stand "
        "lost there is not priced."
    )
    if lacking := ", ".join(dict.fromkeys(name for m in rows for name in m.unpriced)):
        text += tr(" No price is given for {lacking}, so it is in no sum.", lacking=lacking)
    return text


def planned_rate_lines(
    jobs: Iterable[tuple[OperationPlan, tuple[PlannedRate, ...]]], units: UnitSystem
) -> Iterator[str]:
    """Say the rates of every operation, and those of zones."""
    for job, rates in jobs:
        zones = 0 if job.field.zones is None else len(job.field.zones)
        drawn = f" ({trn('{count:,} zone', '{count:,} zones', zones)})" if zones else ""
        yield f"{job.field.name}{drawn}, {job.name}:"
        for rate in rates:
            yield f"  {_rate_line(rate, units)}"
        if not rates:
            yield tr("  no target rate: the boundary and zones alone")


def _rate_line(rate: PlannedRate, units: UnitSystem) -> str:
    parts = [f"{zone} {figures.told_rate(value, units)}" for zone, value in rate.by_zone.items()]
    if rate.kg_per_m2 is not None:
        text = figures.told_rate(rate.kg_per_m2, units)
        parts.append(tr("elsewhere {said}", said=text) if parts else text)
    why = (
        tr(" (as {nutrient} is needed)", nutrient=rate.nutrient)
        if rate.by_zone and rate.nutrient
        else ""
    )
    return f"{rate.product}: {', '.join(parts)}{why}"
