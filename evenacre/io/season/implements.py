"""Make implements of their tables."""

from __future__ import annotations

from collections.abc import Mapping

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.checks import check_currency, is_new
from evenacre.io.season.schema import ImplementTable
from evenacre.model import Compartment, Implement, TowedUnit
from evenacre.units.display import in_both

_MATCH = 0.01


def implement_of(
    table: ImplementTable,
    written: Mapping[str, object],
    currency: str,
    problems: ProblemCollector,
    path: KeyPath,
    *,
    logged: bool = False,
) -> tuple[Implement | None, list[str]]:
    """Work out width and rows from whichever two of width, rows and spacing are given.

    ``logged``: logs will be read that may tell the width.
    Returns the implement, or None when something was wrong, and warnings.
    """
    before = len(problems.problems)
    warnings: list[str] = []
    width, rows = _width_and_rows(table, logged, problems, path)
    listed_rows = tuple(table.sections) if isinstance(table.sections, list) else ()
    rows = sum(listed_rows) if listed_rows and rows is None else rows
    known = rows is not None
    _check_sections(table, rows, problems, path)
    warnings += _check_towers(table, rows, problems, path)
    names = [bin_.name for bin_ in table.compartments]
    for index, name in enumerate(names):
        is_new(name, names[:index], problems, (*path, "compartments", index, "name"))
    if table.cost is not None:
        check_currency(written.get("cost"), currency, problems, (*path, "cost"))
    if len(problems.problems) > before:
        return None, warnings
    count = table.sections if isinstance(table.sections, int) else 0
    equal = ((rows or count) // count,) * count if count else ()
    if table.axle_to_antenna == 0 and table.antenna_ahead == 0 and table.tow:
        warnings.append(
            f"{table.name}: it is towed, but how far the antenna is ahead of the hitch pin is not "
            "given (antenna_ahead); the pin was taken to be right under the antenna."
        )
    made = table.given(Implement) | {
        "width_m": width or 1.0,
        "width_known": width is not None,
        "rows": rows or max(count, 1),
        "rows_known": known,
        "section_rows": listed_rows or equal,
        "tow": tuple(TowedUnit(**unit.given(TowedUnit)) for unit in table.tow),
        "product_lag_s": table.delay,
        "compartments": tuple(Compartment(bin_.name, bin_.volume) for bin_ in table.compartments),
    }
    implement = Implement(**made)
    return implement.of_width(width) if width is not None else implement, warnings


def _check_sections(
    table: ImplementTable, rows: int | None, problems: ProblemCollector, path: KeyPath
) -> None:
    if rows is None or table.sections is None:
        return
    if isinstance(table.sections, int):
        if rows % table.sections:
            what = f"{rows} rows do not divide into {table.sections} equal sections."
            remedy = "List the rows of each section from the left: sections = [8, 8, 8, 8]."
            problems.add((*path, "sections"), what, remedy)
    elif sum(table.sections) != rows:
        problems.add(
            (*path, "sections"),
            f"The sections have {sum(table.sections)} rows together, but the implement has {rows}.",
            "List the rows of each section from the left.",
        )


def _check_towers(
    table: ImplementTable, rows: int | None, problems: ProblemCollector, path: KeyPath
) -> list[str]:
    place, fed = (*path, "rows_per_tower"), table.rows_per_tower
    if fed is None:
        return []
    if rows is None:
        what = "Towers feed rows, but the number of rows is not given."
        problems.add(place, what, "Add rows = 32 or row_spacing.")
    elif fed > rows:
        what = f"A tower cannot feed {fed} of {rows} rows."
        problems.add(place, what, "Give the rows that one tower feeds.")
    elif rows % fed:
        return [
            f"{table.name}: {rows} rows do not divide into towers of {fed}; the last tower feeds "
            f"{rows % fed}."
        ]
    return []


def _width_and_rows(
    table: ImplementTable, logged: bool, problems: ProblemCollector, path: KeyPath
) -> tuple[float | None, int | None]:
    width, rows, spacing = table.width, table.rows, table.row_spacing
    if width is None and rows is not None and spacing is not None:
        width = rows * spacing
        if not 0.1 <= width <= 60.0:
            what = f"{rows} rows so far apart make a width of {in_both('length', width)}."
            remedy = "Give rows and row_spacing that make between 0.1 m (4 in) and 60 m (197 ft)."
            problems.add((*path, "rows"), what, remedy)
    elif width is None and not (logged and spacing is None):
        remedy = 'Give it, such as "20 ft", or the number of rows and their spacing.'
        problems.add((*path, "width"), "The working width is missing.", remedy)
    elif width is not None and spacing is not None:
        rows = rows if rows is not None else max(1, round(width / spacing))
        if abs(rows * spacing - width) > _MATCH * width:
            key = "row_spacing" if table.rows is None else "rows"
            problems.add(
                (*path, key),
                f"{rows} rows {_spacing(spacing)} apart span {in_both('length', rows * spacing)}, "
                f"but the width is {in_both('length', width)}.",
                "Correct one of them, or leave one out.",
            )
    return width, rows


def _spacing(metres: float) -> str:
    return f"{metres / 0.0254:.3g} in ({metres:.3g} m)"
