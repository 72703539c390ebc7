"""How far figures may be off: a row for each that has a 90 % interval."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenacre.reports import quantities as q
from evenacre.reports.column import Column, Table, named, several
from evenacre.reports.writers.as_frame import data_frame

_KINDS = {kind.si: kind for kind in (q.AREA, q.MASS, q.HOURS)}


def _kind(row: Any) -> q.Quantity:
    return _KINDS.get(row.unit, q.MONEY)


def _measured(key: str, name: str) -> Column:
    """Declare a figure in the unit of its row."""
    return named(key, None, name, q.OF_A_KIND, lambda row: (getattr(row, key), _kind(row)))


INTERVALS = Table(
    "intervals",
    (
        *several("field operation subject", None),
        named("name", None, "figure", of=lambda row: row.name.replace("_", " ")),
        _measured("value", "drawn or logged"),
        _measured("expected", "expected"),
        _measured("low_90", "at least"),
        _measured("high_90", "at most"),
        named("unit", None, quantity=q.UNIT, of=_kind),
    ),
    outputs=("table",),
    why="JSON has them with what each is of, and the page beside it",
)


def interval_frames(figures: pd.DataFrame, display: q.Display) -> dict[str, pd.DataFrame]:
    """Those of all figures, one a row in SI, whose 90 % interval is known; no table of none."""
    known = figures[figures["high_90"] > figures["low_90"]]
    frame = data_frame(INTERVALS, known.itertuples(index=False), display)
    return {INTERVALS.name: frame} if len(frame) else {}
