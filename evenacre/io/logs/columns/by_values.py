"""What columns mean whose names say nothing, where their values leave no doubt."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.arrow_arrays import bools
from evenacre.io.common.findings import FEW, Findings
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.time_numbers import are_spreadsheet_days, written_out
from evenacre.io.tables.time_texts import read_time_texts
from evenacre.language import tr
from evenacre.model import FloatArray
from evenacre.shown_text import shortened

_FARM_DEGREES = 5.0
_LOOKED_AT = 10_000
_SHOWN_ROWS = 3
_ROW_LENGTH = 120
# Seconds and milliseconds since 1970 from 2001 to 2100
_EPOCHS = ((1e9, 4.1e9), (1e12, 4.1e12))
_PLACES, _TIMES = {"lon", "lat", "x", "y"}, {"time", "start", "interval"}


def roles_by_values(table: RecordTable, known: Collection[str]) -> dict[str, str]:
    """Tell which columns are longitude, latitude and time.

    Parameters
    ----------
    known : collection of str
        Roles that a person has given to columns.

    Returns
    -------
    dict of str to str
        Role to column.

    Raises
    ------
    InputError
        Showing the first records, when place or time remain in doubt.
    """
    start = RecordTable(table.file, table.data.slice(0, _LOOKED_AT), table.place)
    found: dict[str, str] = {}
    degrees = _degrees(start)
    if not _PLACES & set(known):
        far = [name for name, values in degrees.items() if np.nanmax(np.abs(values)) > 90]
        if len(degrees) == 2 and len(far) == 1:
            found["lon"] = far[0]
            found["lat"] = next(name for name in degrees if name != far[0])
    times = _times(start, table.names)
    if not _TIMES & set(known):
        found |= _only_times(times)
    has = {*found, *known}
    if (has >= {"lon", "lat"} or has >= {"x", "y"}) and has & _TIMES:
        return found
    raise _question(table, [*degrees], [*times])


def times_by_values(table: RecordTable, names: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """Tell which of some columns hold times, by role, and which of them may.

    Times are taken only where one column, or one of dates and one of times of day, is written as
    they are: a plain number may count anything.
    """
    start = RecordTable(table.file, table.data.slice(0, _LOOKED_AT), table.place)
    times = {
        name: kind
        for name, kind in _times(start, names).items()
        if pc.count_distinct(start.text(name)).as_py() > 1 or kind == "date"
    }
    written = {n: kind for n, kind in times.items() if not start.holds_numbers(n)}
    found = _only_times(written) if {*written.values()} - {"date"} else {}
    return found, [name for name, kind in times.items() if kind != "date"]


def _only_times(times: Mapping[str, str]) -> dict[str, str]:
    """Roles of columns that hold times, where no two may be the same."""
    alone = [name for name, kind in times.items() if kind == "time"]
    dates, clocks = (
        [name for name, kind in times.items() if kind == wanted] for wanted in ("date", "clock")
    )
    if len(alone) == 1:
        return {"time": alone[0]}
    if not alone and len(clocks) == 1 and len(dates) < 2:
        return {"time": clocks[0]} | ({"date": dates[0]} if dates else {})
    return {}


def _degrees(table: RecordTable) -> dict[str, FloatArray]:
    """Columns that may be degrees: of one farm, to a metre or better, not all in one place."""
    found = {}
    for name in table.names:
        if not table.holds_numbers(name):
            continue
        values = table.numbers(name, "position", Findings())
        kept = values[np.isfinite(values) & (values != 0)]
        if not kept.size:
            continue
        span, fine = np.ptp(kept), (kept * 1e3 % 1 > 1e-6).mean()
        if np.abs(kept).max() <= 180 and 0 < span < _FARM_DEGREES and fine > 0.5:
            found[name] = values
    return found


def _times(table: RecordTable, names: Sequence[str]) -> dict[str, str]:
    """Which columns hold times: ``time`` with the day, ``date`` or ``clock`` alone."""
    found = {}
    for name in names:
        texts = table.text(name)
        if table.holds_numbers(name):
            values = table.numbers(name, "time", Findings())
            kept = values[np.isfinite(values)]
            epoch = any(low < kept.min() and kept.max() < high for low, high in _EPOCHS)
            if epoch or are_spreadsheet_days(kept) or written_out(kept) is not None:
                found[name] = "time"
            continue
        read = read_time_texts(texts)
        filled = bools(pc.is_valid(texts))
        if not filled.any() or np.isnan(read.wall_s[filled]).mean() > FEW:
            continue
        whole_days = (read.wall_s[filled] % 86400 == 0).all()
        found[name] = "clock" if not read.dated else "date" if whole_days else "time"
    return found


def _question(table: RecordTable, degrees: list[str], times: list[str]) -> InputError:
    rows = (
        f"({table.place(row)}) {shortened(table.row(row), _ROW_LENGTH)}"
        for row in range(min(len(table), _SHOWN_ROWS))
    )
    likely = zip(("lon", "lat", "time"), [*[*degrees, "", ""][:2], *times, ""], strict=False)
    numbers = {role: table.names.index(name) + 1 if name else "N" for role, name in likely}
    options = " ".join(f"--column {role}={n}" for role, n in numbers.items())
    keys = ", ".join(f'{role} = "{n}"' for role, n in numbers.items())
    return table.error(
        "",
        tr(
            "it has no line of column names, and its values leave in doubt what they are. It "
            "begins "
        )
        + "; ".join(rows)
        + ".",
        tr(
            "Say which column is which by its number, such as {options} (in a season file "
            "columns = {{ {keys} }}), or add a line of names at the top.",
            options=options,
            keys=keys,
        ),
    )
