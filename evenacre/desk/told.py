"""What the logs tell of a drill, offered for the boxes of its form."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from evenacre import __version__
from evenacre.desk.farm import Farm
from evenacre.desk.work import Ended, Say, Stage, in_words
from evenacre.errors import InputError
from evenacre.io.common.findings import counted
from evenacre.io.season.edit import digest_of

if TYPE_CHECKING:
    from evenacre.model import Implement
    from evenacre.model.measured import Measured, SettingName
    from evenacre.units.display import UnitSystem

TOLD = "told"
"""Under this name the desk remembers what the logs told, by drill."""
_BOXES = {"left": "antenna_left", "lag": "delay", "width": "width"}
_SHORTEST_HITCH_M, _LONGEST_M = 0.3, 40.0


@dataclass(frozen=True)
class Offer:
    """What a button would put into which boxes."""

    words: str
    boxes: Mapping[str, str]


@dataclass(frozen=True)
class ToldFigure:
    """A figure of the drill as one log tells it.

    Attributes
    ----------
    setting : str
        As of `Measured`.
    says : str
        A sentence.
    fits : bool
        Whether what is told goes with it.
    sigma : float
        Its standard uncertainty, SI; infinite where the log cannot tell.
    why_not : str
        Why it cannot, in words.
    offers : tuple of Offer
        One of them is to be taken; none where nothing is to be changed.
    """

    setting: SettingName
    says: str
    fits: bool = False
    sigma: float = float("inf")
    why_not: str = ""
    offers: tuple[Offer, ...] = ()


@dataclass(frozen=True)
class Told:
    """A figure of the drill as all its logs tell it.

    Attributes
    ----------
    says : tuple of str
    offers : tuple of Offer
    each : tuple of str
        What every log tells, where there are several.
    """

    says: tuple[str, ...]
    offers: tuple[Offer, ...]
    each: tuple[str, ...]


def ask_logs(say: Say, farm: Farm, drill: str) -> Ended:
    """Ask the logs of every job of a drill, and remember what they tell of it."""
    from evenacre.io.season.load import draft_season, read_toml
    from evenacre.units.display import unit_system
    from evenacre.workflows.measure import run_measure

    seen = _made_of(farm)
    raw = read_toml(farm.season)
    season = draft_season(farm.season, must_hold="either").season
    done_with = {
        (str(job.get("field")).strip(), str(job.get("name")).strip())
        for job in raw.get("operation", [])
        if isinstance(job, Mapping) and str(job.get("implement")).strip() == drill
    }
    jobs = [p for p in season.operations if (p.field.name, p.name) in done_with]
    units = unit_system(raw.get("units", "us"))
    figures: list[ToldFigure] = []
    troubles: list[str] = []
    for number, plan in enumerate(jobs):
        say(Stage(f"reading {plan.field.name}, {plan.name}", number, len(jobs)))
        try:
            made = run_measure(replace(season, operations=(plan,)), units)
        except InputError as error:
            troubles += in_words(error.problems)
            continue
        where = f"The log of {plan.name}, {plan.field.name}"
        figures += _figures(where, made.measured[0].measured, plan.implement, units)
    if not jobs:
        troubles.append("No job of this drill has a log yet.")
    told = {
        "of": seen,
        "figures": sorted(map(asdict, _together(figures)), key=lambda one: not one["offers"]),
        "troubles": list(dict.fromkeys(troubles)),
    }
    farm.remember(TOLD, {**(farm.recall(TOLD) or {}), drill: told})
    return Ended(("What they tell stands with the form of the drill, under Season.",))


def told_of(farm: Farm, drill: str) -> dict[str, Any] | None:
    """What the logs told of a drill; None where nobody asked since the season was changed."""
    found = (farm.recall(TOLD) or {}).get(drill)
    return found if found and found.get("of") == _made_of(farm) else None


def _made_of(farm: Farm) -> str:
    """What an answer of the logs holds for: this season, and what this version makes of it."""
    return f"{__version__} {digest_of(farm.season)}"


def _together(figures: list[ToldFigure]) -> Iterator[Told]:
    """One answer to each setting: by the log that knows it best of those that want it changed."""
    from evenacre.reports.sentences.measure import LABELS

    for setting, label in LABELS.items():
        mine = sorted((o for o in figures if o.setting == setting), key=lambda one: one.sigma)
        if not mine:
            continue
        wrong = [one for one in mine if one.offers]
        fitting = [one for one in mine if one.fits]
        each = tuple(one.says for one in mine) if len(mine) > 1 else ()
        if wrong:
            others = f"What you said goes with {counted(len(fitting), 'other log')}."
            yield Told((wrong[0].says, *([others] if fitting else [])), wrong[0].offers, each)
        elif fitting:
            more = f", as with {counted(len(fitting) - 1, 'more log')}" if len(fitting) > 1 else ""
            yield Told((fitting[0].says, f"That goes together{more}."), (), each)
        else:
            why = "; or ".join(dict.fromkeys(one.why_not for one in mine if one.why_not))
            says = f"No log can tell the {label}: {why}." if why else mine[0].says
            yield Told((says,), (), each)


def _figures(
    where: str, measured: tuple[Measured, ...], implement: Implement, units: UnitSystem
) -> Iterator[ToldFigure]:
    from evenacre.reports.sentences.findings import WHY_NOT
    from evenacre.reports.sentences.measure import LABELS, amount, fits

    for one in measured:
        if one.value is None:
            why = WHY_NOT[one.why_not]
            says = f"{where} cannot tell the {LABELS[one.setting]}: {why}."
            yield ToldFigure(one.setting, says, why_not=why)
            continue
        said = "nobody said yet" if one.told is None else f"you said {amount(one.told, one, units)}"
        agrees = one.told is not None and not one.disagrees
        says = f"{where} fits {fits(one, units)}; {said}."
        if one.how == "together" and one.setting == "behind" and one.speed_mps is not None:
            each = units.length.text(one.speed_mps, 2)
            says += f" Each second of delay would put the tool {each} further behind."
        if one.setting == "width":
            says += " It is the drill's width where passes lie edge to edge."
        offered = () if agrees else tuple(offers(one, implement, units))
        yield ToldFigure(one.setting, says, agrees, one.sigma or 0.0, offers=offered)


def offers(one: Measured, implement: Implement, units: UnitSystem) -> Iterator[Offer]:
    """What could be put into the form, so that it fits the log."""
    from evenacre.reports.sentences.measure import amount

    assert one.value is not None
    if one.setting != "behind":
        text = amount(one.value, one, units)
        yield Offer(f"Put {text} into the box", {_BOXES[one.setting]: text})
    elif implement.behind_m == 0 and not implement.tow:
        yield _in_usual_parts(one, implement, units)
    else:
        yield from _one_of_the_parts(one.value - implement.behind_m, implement, units)


def _in_usual_parts(one: Measured, implement: Implement, units: UnitSystem) -> Offer:
    """The whole distance, shared as an audit shares it where nothing is told."""
    from evenacre.coverage.measure.settings import applied

    found = applied(implement, [replace(one, used=True)])
    tool = units.length.text(found.tool_behind_m)
    if not found.tow:
        return Offer(f"Put {tool} into the box", {"tool_behind": tool})
    boxes = {
        "antenna_ahead": units.length.text(found.antenna_ahead_m),
        "tow.0.hitch_to_axle": units.length.text(found.tow[0].hitch_to_axle_m),
        "tool_behind": tool,
    }
    return Offer("Put it into the boxes in three usual parts; measure each", boxes)


def _one_of_the_parts(more_m: float, implement: Implement, units: UnitSystem) -> Iterator[Offer]:
    """Each figure that would make up for the whole difference by itself: a tape tells which."""
    parts = {"antenna_ahead": (implement.antenna_ahead_m, 0.0)}
    for number, unit in enumerate(implement.tow):
        parts[f"tow.{number}.hitch_to_axle"] = (unit.hitch_to_axle_m, _SHORTEST_HITCH_M)
    parts["tool_behind"] = (implement.tool_behind_m, min(0.0, implement.tool_behind_m))
    for box, (was_m, least_m) in parts.items():
        if least_m <= was_m + more_m <= _LONGEST_M:
            name = box.rpartition(".")[2].replace("_", " ").capitalize()
            text, was = (units.length.text(length) for length in (was_m + more_m, was_m))
            yield Offer(f"{name}: {text} instead of {was}", {box: text})
