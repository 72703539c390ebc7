"""Loads, half-way checks and balances in plain words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from evenacre.language import mark, number, tr
from evenacre.planning.loads.load_check import Comparison, Correction, ProductLoads
from evenacre.planning.loads.stock_balance import Balance, HalfwayCheck
from evenacre.reports import figure_text as figures
from evenacre.units.display import DisplayUnit, UnitSystem

_SAID = {"scale": mark("the scale"), "meter": mark("the meter's log"), "target": mark("the target")}


def verdict_sentences(loads: ProductLoads, units: UnitSystem) -> list[str]:
    """Say which ways disagree over all loads together, and what to do about the meter."""
    together = loads.together
    if together is None:
        return [
            tr(
                "{product}: no load was weighed to its end, so nothing can be compared.",
                product=loads.product,
            )
        ]
    lines = [
        tr(
            "{said} says {more} than {said_2}: they disagree.",
            said=_capital(tr(_SAID[c.first])),
            more=_more(c),
            said_2=tr(_SAID[c.second]),
        )
        for c in together.comparisons
        if c.disagree
    ]
    if together.comparisons and not lines:
        lines = [tr("They agree within their errors.")]
    if loads.correction is not None:
        lines.append(_about_the_meter(loads.correction, units))
    return lines


def disagreement_sentence(loads: Iterable[ProductLoads]) -> str:
    """Say in one sentence which meters the scale contradicts; empty when none."""
    said = [
        f"{_more(compared)} {p.product}"
        for p in loads
        if p.together and (compared := p.together.compared("scale", "meter"))
        if compared.disagree
    ]
    if not said:
        return ""
    return tr(
        "Scale and meter disagree: the scale says {names} than the meter's log; the "
        "amounts here are the meter's.",
        names=tr(" and ").join(said),
    )


def _about_the_meter(c: Correction, units: UnitSystem) -> str:
    figure = f"{number(c.factor, '.3f')} ± {number(c.sigma, '.3f')}"
    if c.needed and units.name == "us":
        return tr("Multiply the meter's pounds per turn by {figure}.", figure=figure)
    if c.needed:
        return tr("Multiply the meter's kilograms per turn by {figure}.", figure=figure)
    if c.scattered:
        return tr(
            "The loads contradict one another by more than scale and meter err, so one "
            "ticket or more may be wrong: check them before you change the meter "
            "({figure}).",
            figure=figure,
        )
    return tr("Leave the meter's factor as it is: the correction would be {figure}.", figure=figure)


def _more(c: Comparison) -> str:
    """``"4.0 % less"``; without a share where the second says none."""
    share = f"{number(abs(100 * c.share), '.1f')} % " if math.isfinite(c.share) else ""
    return f"{share}{tr('more') if c.difference_kg > 0 else tr('less')}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


_STANDS = {
    "even": mark("it comes out even"),
    "too much left": mark("it runs light, and some will be left over"),
    "too little left": mark("it runs heavy, and will run out early"),
}


def halfway_sentence(check: HalfwayCheck, units: UnitSystem) -> str:
    """Say how the weighing nearest to half the ground stands."""
    at = check.nearest_half
    if at is None:
        return tr(
            "{product}: nothing was weighed on the way. At half the area half the "
            "product should be gone.",
            product=check.product,
        )
    gone = 100 * (1 - at.area_left_m2 / check.area_m2)
    return tr(
        "{product}: with {gone:.0f} % of the ground done {plus_minus} were left, where "
        "{mass} come out even: {stands}.",
        product=check.product,
        gone=gone,
        plus_minus=figures.plus_minus(at.left_kg, at.sigma_kg, units.mass),
        mass=units.mass.text(at.even_kg),
        stands=tr(_STANDS[at.verdict]),
    )


def _decimals(b: Balance, unit: DisplayUnit) -> int:
    amounts = (b.used_kg, *(a.kg for a in (b.bought, b.left) if a is not None))
    largest = max(unit.of(abs(kg)) for kg in amounts)
    return 0 if largest >= 100 else 1 if largest >= 10 else 2


def row_text(b: Balance, unit: DisplayUnit) -> Callable[[float], str]:
    """Writer of a balance's amounts, all to the decimals of the largest."""
    decimals = _decimals(b, unit)

    def text(kg: float) -> str:
        return f"{number(round(unit.of(kg), decimals) + 0.0, f',.{decimals}f')} {unit.word}"

    return text


def unexplained_kg(b: Balance, unit: DisplayUnit) -> float | None:
    """What is unexplained of the amounts as they are printed, so that they add up."""
    if b.unexplained_kg is None or b.bought is None or b.left is None:
        return None
    bought, used, left = (
        round(unit.of(kg), _decimals(b, unit)) for kg in (b.bought.kg, b.used_kg, b.left.kg)
    )
    return (bought - used - left) / unit.per_si


def used_by(b: Balance) -> str:
    """Name what tells how much was used: scale, meter, or the target where neither does."""
    words = {"scale": tr("scale"), "meter": tr("meter"), "target": tr("target")}
    return ", ".join(words[source] for source in dict.fromkeys(u.source for u in b.usages))


def balance_sentence(b: Balance, units: UnitSystem) -> str:
    """Say what became of a product."""
    text = row_text(b, units.mass)
    said_used = {"product": b.product, "said": text(b.used_kg)}
    used = tr("{product}: {said} used", **said_used)
    if b.usages:
        used = tr("{product}: {said} used (by {sources})", **said_used, sources=used_by(b))
    unexplained = unexplained_kg(b, units.mass)
    if unexplained is None or b.bought is None or b.left is None:
        if b.bought is None:
            return tr(
                "{used}; how much was bought is not known, so the balance cannot be struck.",
                used=used,
            )
        return tr(
            "{used}; how much was left is not known, so the balance cannot be struck.", used=used
        )
    said = {
        "used": used,
        "left": text(b.left.kg),
        "bought": text(b.bought.kg),
        "rest": text(abs(unexplained)),
    }
    if unexplained >= 0:
        line = tr("{used}, {left} left of {bought} bought; {rest} missing", **said)
    else:
        line = tr("{used}, {left} left of {bought} bought; {rest} too much", **said)
    line += tr(", which weighing alone may explain.") if b.explained else tr(", unexplained.")
    if b.without_field_kg > 0:
        line += tr(" Tickets for {said} name no field.", said=text(b.without_field_kg))
    return line
