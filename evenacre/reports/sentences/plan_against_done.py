"""Planned against done in plain words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Sequence

from evenacre.language import date_text, mark, mark_of, tr, tr_of, trn
from evenacre.planning.interseeding.comparison import (
    PaddockCompared,
    PaddockStanding,
    PlannedDone,
    WindowVerdict,
)
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card, first_lines
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.interseeding_words import days_text, short_day
from evenacre.units.display import DisplayUnit, UnitSystem

TITLE = mark("Planned against done")
NEAR = 0.10
"""Ground and seed are as planned when they are within this share of it."""
_WINDOW = {
    WindowVerdict.KEPT: mark_of("window", "kept"),
    WindowVerdict.PART: mark_of("window", "kept in part"),
    WindowVerdict.MISSED: mark_of("window", "missed"),
    WindowVerdict.UNDATED: mark_of("window", "day not known"),
}
_NO_ROOM = mark("to be seeded, but not planned")


def planned_done_card(compared: PlannedDone, units: UnitSystem) -> Card:
    """Say how many windows were kept, what was seeded of what was planned, and what went wrong."""
    planned = compared.of(PaddockStanding.DONE, PaddockStanding.NOT_LOGGED)
    kept = sum(p.window is WindowVerdict.KEPT for p in planned)
    headline = trn(
        "{kept} of {count} planned paddock seeded inside the window",
        "{kept} of {count} planned paddocks seeded inside the window",
        len(planned),
        kept=kept,
    )
    off = [(kind, f"{p.name}: {text}.") for p in compared.paddocks for kind, text in _off(p, units)]
    lines = [
        ("product", _sums(compared, units)),
        *first_lines(off, "cost", mark("{more} more are in the table.")),
    ]
    return Card(headline, tuple(lines))


def planned_done_lines(compared: PlannedDone, units: UnitSystem) -> Iterator[str]:
    """Say the answer line by line, for a terminal."""
    answer = planned_done_card(compared, units)
    yield f"{tr(TITLE)}: {answer.headline}."
    yield from (f"  {sentence}" for _, sentence in answer.lines)
    yield from (
        f"  {tr('warning: {said}', said=text)}" for text in sentences(compared.findings, "warning")
    )


def kept_words(p: PaddockCompared) -> str:
    """Say whether the window was kept, and if not by how many days."""
    if p.standing is PaddockStanding.NOT_LOGGED:
        return tr("not logged")
    if p.standing is PaddockStanding.LEFT:
        return tr(_NO_ROOM)
    if p.window is None:
        return tr("not planned") if p.standing is PaddockStanding.UNPLANNED else tr("no window")
    sides = [
        f"{days_text(days)} {word}"
        for days, word in ((p.too_early_days, tr("too early")), (p.too_late_days, tr("too late")))
        if days
    ]
    return ", ".join([tr_of("window", _WINDOW[p.window]), *sides])


def window_words(p: PaddockCompared, day: Callable[[dt.date], str] = date_text) -> str:
    """Write the first and last day of every spell of a window."""
    if p.planned is None or p.planned.window is None:
        return ""
    spells = [figures.span(day(first), day(last)) for first, last in p.planned.window.spells]
    return ", ".join(spells) or tr("no day open")


def planned_words(p: PaddockCompared, day: Callable[[dt.date], str] = date_text) -> str:
    """Write the days planned."""
    days = dict.fromkeys(visit.day for visit in p.planned.visits) if p.planned else ()
    return ", ".join(map(day, days))


def done_words(p: PaddockCompared, day: Callable[[dt.date], str] = date_text) -> str:
    """Write the days done."""
    return ", ".join(tr("day not known") if one.day is None else day(one.day) for one in p.days)


def short(day: dt.date) -> str:
    """Month and day, never broken between lines."""
    return short_day(day).replace(" ", "\N{NO-BREAK SPACE}")


def _off(p: PaddockCompared, units: UnitSystem) -> Iterator[tuple[str, str]]:
    """What did not go as planned in one paddock."""
    when = done_words(p)
    if p.standing is PaddockStanding.NOT_LOGGED:
        yield (
            "short",
            tr("planned for {planned}, but there is no log of it", planned=planned_words(p)),
        )
    elif p.standing is PaddockStanding.LEFT:
        yield "short", tr("{no_room}, and not done", no_room=tr(_NO_ROOM))
    elif p.standing is PaddockStanding.UNPLANNED:
        yield "over", tr("seeded on {when}, though not planned", when=when)
    if p.window in (WindowVerdict.MISSED, WindowVerdict.PART):
        text = tr(
            "window {kept}; it was open {window}, seeded {when}",
            kept=kept_words(p),
            window=window_words(p),
            when=when,
        )
        if p.window is WindowVerdict.PART and p.in_window_m2 is not None:
            inside = units.area.text(p.in_window_m2)
            text += tr(
                ", {inside} of {size} inside it", inside=inside, size=units.area.text(p.done_m2)
            )
        yield "missed", text
    if p.standing is not PaddockStanding.DONE:
        return
    for done, planned, unit, words in (
        (p.done_m2, p.planned_m2, units.area, tr("planned was seeded")),
        (p.applied_kg, p.planned_kg, units.mass, tr("of seed planned went in")),
    ):
        if done is not None and abs(done - planned) > NEAR * planned:
            kind = "over" if done > planned else "short"
            yield kind, f"{beside([done], [planned], unit)} {words}"


def _sums(compared: PlannedDone, units: UnitSystem) -> str:
    area, mass, sums, besides = units.area, units.mass, compared.sums, compared.besides
    planned = compared.of(PaddockStanding.DONE, PaddockStanding.NOT_LOGGED)
    text = tr(
        "Seeded {done} of the {planned} planned",
        done=area.in_all(p.done_m2 for p in planned),
        planned=area.in_all(p.planned_m2 for p in planned),
    )
    if sums.applied_kg is None:
        text += tr("; how much seed went in is not known")
    else:
        seed = tr(
            "{done} of the {planned}",
            done=mass.text(sums.applied_kg),
            planned=mass.text(sums.planned_kg),
        )
        text += tr(", with {seed} of {product}", seed=seed, product=compared.planned.product)
    if besides.done_m2:
        text += tr("; and {area} besides", area=area.text(besides.done_m2))
        text += (
            tr(", with {mass}", mass=mass.text(besides.applied_kg))
            if besides.applied_kg is not None
            else ""
        )
    return f"{text}."


def beside(done: Sequence[float | None], planned: Sequence[float], unit: DisplayUnit) -> str:
    """Write what was done of what was planned, each added up, and the unit once."""
    known = [one for one in done if one is not None]
    text = unit.in_all(known) if len(known) == len(done) else tr("not known")
    return (
        tr(
            "{part} of {whole}",
            part=text.removesuffix(f" {unit.word}"),
            whole=unit.in_all(planned),
        )
        if sum(planned)
        else text
    )
