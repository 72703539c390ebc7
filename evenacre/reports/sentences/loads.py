"""Loads, half-way checks and balances in plain words."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from evenacre.planning.loads.load_check import Comparison, Correction, ProductLoads
from evenacre.planning.loads.stock_balance import Balance, HalfwayCheck
from evenacre.reports import figure_text as figures
from evenacre.units.display import DisplayUnit, UnitSystem

_SAID = {"scale": "the scale", "meter": "the meter's log", "target": "the target"}


def verdict_sentences(loads: ProductLoads, units: UnitSystem) -> list[str]:
    """Say which ways disagree over all loads together, and what to do about the meter."""
    together = loads.together
    if together is None:
        return [f"{loads.product}: no load was weighed to its end, so nothing can be compared."]
    lines = [
        f"{_SAID[c.first].capitalize()} says {_more(c)} than {_SAID[c.second]}: they disagree."
        for c in together.comparisons
        if c.disagree
    ]
    if together.comparisons and not lines:
        lines = ["They agree within their errors."]
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
    return (
        f"Scale and meter disagree: the scale says {' and '.join(said)} than the meter's log; the "
        "amounts here are the meter's."
    )


def _about_the_meter(c: Correction, units: UnitSystem) -> str:
    figure = f"{c.factor:.3f} ± {c.sigma:.3f}"
    per_turn = "pounds" if units.name == "us" else "kilograms"
    if c.needed:
        return f"Multiply the meter's {per_turn} per turn by {figure}."
    if c.scattered:
        return (
            "The loads contradict one another by more than scale and meter err, so one ticket or "
            f"more may be wrong: check them before you change the meter ({figure})."
        )
    return f"Leave the meter's factor as it is: the correction would be {figure}."


def _more(c: Comparison) -> str:
    """``"4.0 % less"``; without a share where the second says none."""
    share = f"{abs(100 * c.share):.1f} % " if math.isfinite(c.share) else ""
    return f"{share}{'more' if c.difference_kg > 0 else 'less'}"


_STANDS = {
    "even": "it comes out even",
    "too much left": "it runs light, and some will be left over",
    "too little left": "it runs heavy, and will run out early",
}


def halfway_sentence(check: HalfwayCheck, units: UnitSystem) -> str:
    """Say how the weighing nearest to half the ground stands."""
    at = check.nearest_half
    if at is None:
        return (
            f"{check.product}: nothing was weighed on the way. At half the area half the product "
            "should be gone."
        )
    gone = 100 * (1 - at.area_left_m2 / check.area_m2)
    return (
        f"{check.product}: with {gone:.0f} % of the ground done "
        f"{figures.plus_minus(at.left_kg, at.sigma_kg, units.mass)} were left, where "
        f"{units.mass.text(at.even_kg)} come out even: {_STANDS[at.verdict]}."
    )


def row_text(b: Balance, unit: DisplayUnit) -> Callable[[float], str]:
    """Writer of a balance's amounts, all to the decimals of the largest, so that they add up."""
    amounts = (b.used_kg, *(a.kg for a in (b.bought, b.left) if a is not None))
    largest = max(unit.of(abs(kg)) for kg in amounts)
    decimals = 0 if largest >= 100 else 1 if largest >= 10 else 2

    def text(kg: float) -> str:
        return f"{round(unit.of(kg), decimals) + 0.0:,.{decimals}f} {unit.label}"

    return text


def balance_sentence(b: Balance, units: UnitSystem) -> str:
    """Say what became of a product."""
    text = row_text(b, units.mass)
    used = f"{b.product}: {text(b.used_kg)} used"
    if b.unexplained_kg is None or b.bought is None or b.left is None:
        missing = "bought" if b.bought is None else "left"
        return f"{used}; how much was {missing} is not known, so the balance cannot be struck."
    line = (
        f"{used}, {text(b.left.kg)} left of {text(b.bought.kg)} bought; "
        f"{text(abs(b.unexplained_kg))} {'missing' if b.unexplained_kg >= 0 else 'too much'}, "
        f"{'which weighing alone may explain' if b.explained else 'unexplained'}."
    )
    if b.without_field_kg > 0:
        line += f" Tickets for {text(b.without_field_kg)} name no field."
    return line
