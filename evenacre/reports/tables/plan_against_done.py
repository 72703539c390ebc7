"""Planned against done for machines: the table in the reader's units, the account in SI."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from evenacre.planning.interseeding.comparison import PaddockCompared, PlannedDone
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.plan_against_done import done_words, planned_words, window_words
from evenacre.reports.tables.audit import Row, in_unit
from evenacre.units.display import UnitSystem


def planned_done_table(compared: PlannedDone, units: UnitSystem) -> pd.DataFrame:
    """A row for each paddock; days are ISO 8601, units stand in the column names."""
    return pd.DataFrame([_row(p, compared, units) for p in compared.paddocks])


def planned_done_summary(compared: PlannedDone) -> dict[str, Any]:
    """Account in SI units; what is not known is None."""
    sums = compared.sums
    return {
        "plan": {"path": compared.planned.file.path, "sha256": compared.planned.file.sha256},
        "seed": compared.planned.product,
        "planned_m2": sums.planned_m2,
        "done_m2": sums.done_m2,
        "planned_kg": sums.planned_kg,
        "applied_kg": sums.applied_kg,
        "besides_m2": compared.besides.done_m2,
        "besides_kg": compared.besides.applied_kg,
        "paddocks": [_account(p) for p in compared.paddocks],
        "warnings": list(compared.warnings),
    }


def _row(p: PaddockCompared, compared: PlannedDone, u: UnitSystem) -> Row:
    window = p.planned.window if p.planned else None
    return {
        "paddock": p.name,
        "seed": compared.planned.product,
        "standing": p.standing.value,
        "window": window_words(p),
        "window kept": p.window.value if p.window else "",
        "too early [days]": p.too_early_days if window and p.operations else None,
        "too late [days]": p.too_late_days if window and p.operations else None,
        "planned for": planned_words(p),
        "seeded on": done_words(p),
        "began late [days]": p.began_late_days,
        "ended late [days]": p.ended_late_days,
        **in_unit(
            u.area,
            planned=p.planned_m2,
            seeded=p.done_m2,
            seeded_inside_the_window=p.in_window_m2,
        ),
        "seeded share of planned [%]": _percent(p.done_m2, p.planned_m2),
        **in_unit(u.mass, planned_seed=p.planned_kg, seed_on_the_paddock=p.applied_kg),
        "planned to be grazed from": _text(p.planned.graze_from if p.planned else None),
        "graze from": _text(p.graze_from),
        "operations": ", ".join(p.operations),
    }


def _account(p: PaddockCompared) -> dict[str, Any]:
    planned = p.planned
    return {
        "paddock": p.name,
        "standing": p.standing.value,
        "window": p.window.value if p.window else None,
        "too_early_days": p.too_early_days,
        "too_late_days": p.too_late_days,
        "began_late_days": p.began_late_days,
        "ended_late_days": p.ended_late_days,
        "in_window_m2": p.in_window_m2,
        "graze_from": p.graze_from,
        "planned": None
        if planned is None
        else {
            "area_m2": planned.area_m2,
            "seed_kg": planned.seed_kg,
            "graze_from": planned.graze_from,
            "spells": None if planned.window is None else _spells(planned.window.spells),
            "days": [
                {"date": v.day, "area_m2": v.area_m2, "seed_kg": v.seed_kg} for v in planned.visits
            ],
        },
        "done": None
        if not p.operations
        else {
            "area_m2": p.done_m2,
            "seed_kg": p.applied_kg,
            "operations": list(p.operations),
            "days": [{"date": d.day, "area_m2": d.area_m2, "seed_kg": d.seed_kg} for d in p.days],
        },
    }


def _spells(spells: Sequence[tuple[object, object]]) -> list[dict[str, object]]:
    return [{"first": first, "last": last} for first, last in spells]


def _percent(part: float, whole: float) -> float | None:
    return figures.significant([100 * part / whole], 4)[0] if whole else None


def _text(day: object | None) -> str:
    return "" if day is None else str(day)
