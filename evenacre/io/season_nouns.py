"""Make implements and products of their tables, and question what cannot be."""

from __future__ import annotations

import re
from collections.abc import Mapping

from evenacre.io.complaints import Complaints, KeyPath
from evenacre.io.hints import choice, listed
from evenacre.io.season_seed import rate_range, seed_lot
from evenacre.io.season_tables import ImplementTable, ProductTable
from evenacre.model import Compartment, Implement, Product, TowedUnit
from evenacre.units import METRIC, US, price_currency

NUTRIENTS = ("N", "P2O5", "K2O", "Ca", "Mg", "S", "B", "Cl", "Cu", "Fe", "Mn", "Mo", "Zn")
"""What a label guarantees, in the label's own terms."""

_ELEMENTS = {"p": "P2O5", "k": "K2O"}
_LABEL = re.compile(
    r"(?<![\d.])(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)((?:-\d+(?:\.\d+)?[A-Za-z]{1,2})*)"
    r"(?![\w.-])"
)
_ROW_OF_UNKNOWN_M = 0.3
_MATCH = 0.01
_SIGNS = {"€": ("EUR",), "£": ("GBP",), "¥": ("JPY", "CNY"), "$": ("USD", "CAD", "AUD", "NZD")}


def implement_of(
    table: ImplementTable,
    written: Mapping[str, object],
    currency: str,
    complaints: Complaints,
    path: KeyPath,
) -> tuple[Implement | None, list[str]]:
    """Work out width and rows from whichever two of width, rows and spacing are given.

    Returns
    -------
    Implement or None
        None when something was complained about.
    list of str
        Warnings.
    """
    before = len(complaints.problems)
    warnings: list[str] = []
    width, rows = _width_and_rows(table, complaints, path)
    listed_rows = tuple(table.sections) if isinstance(table.sections, list) else ()
    if listed_rows and rows is None:
        rows = sum(listed_rows)
    known = rows is not None
    _check_sections(table, rows, complaints, path)
    warnings += _check_towers(table, rows, complaints, path)
    _check_compartments(table, complaints, path)
    if table.cost is not None:
        check_currency(written.get("cost"), currency, complaints, (*path, "cost"))
    if len(complaints.problems) > before or width is None:
        return None, warnings
    count = table.sections if isinstance(table.sections, int) else 1
    if rows is None:
        # Rows that are only a subdivision: about a foot each, and whole ones in a section.
        rows = count * max(1, round(width / count / _ROW_OF_UNKNOWN_M))
    equal = (rows // count,) * count if isinstance(table.sections, int) else ()
    if table.axle_to_antenna == 0 and table.antenna_ahead == 0 and table.tow:
        warnings.append(
            f"{table.name}: it is towed, but how far the antenna is ahead of the hitch pin is not "
            "given (antenna_ahead); the pin was taken to be right under the antenna."
        )
    made = Implement(
        width_m=width,
        rows=rows,
        rows_known=known,
        rows_per_tower=table.rows_per_tower,
        section_rows=listed_rows or equal,
        axle_to_antenna_m=table.axle_to_antenna,
        antenna_ahead_m=table.antenna_ahead,
        antenna_left_m=table.antenna_left,
        tow=tuple(TowedUnit(unit.hitch_to_axle, unit.axle_to_pin) for unit in table.tow),
        tool_behind_m=table.tool_behind,
        delay_s=table.delay,
        compartments=tuple(Compartment(bin_.name, bin_.volume) for bin_ in table.compartments),
        cost_per_s=table.cost,
    )
    return made, warnings


def _check_compartments(table: ImplementTable, complaints: Complaints, path: KeyPath) -> None:
    names = [bin_.name for bin_ in table.compartments]
    for index, name in enumerate(names):
        if name in names[:index]:
            place = (*path, "compartments", index, "name")
            complaints.add(place, f'"{name}" is defined twice.', "Rename one.")


def _check_sections(
    table: ImplementTable, rows: int | None, complaints: Complaints, path: KeyPath
) -> None:
    if rows is None or table.sections is None:
        return
    if isinstance(table.sections, int):
        if rows % table.sections:
            complaints.add(
                (*path, "sections"),
                f"{rows} rows do not divide into {table.sections} equal sections.",
                "List the rows of each section from the left: sections = [8, 8, 8, 8].",
            )
    elif sum(table.sections) != rows:
        complaints.add(
            (*path, "sections"),
            f"The sections have {sum(table.sections)} rows together, but the implement has {rows}.",
            "List the rows of each section from the left.",
        )


def _check_towers(
    table: ImplementTable, rows: int | None, complaints: Complaints, path: KeyPath
) -> list[str]:
    place, fed = (*path, "rows_per_tower"), table.rows_per_tower
    if fed is None:
        return []
    if rows is None:
        what = "Towers feed rows, but the number of rows is not given."
        complaints.add(place, what, "Add rows = 32 or row_spacing.")
    elif fed > rows:
        what = f"A tower cannot feed {fed} of {rows} rows."
        complaints.add(place, what, "Give the rows that one tower feeds.")
    elif rows % fed:
        return [
            f"{table.name}: {rows} rows do not divide into towers of {fed}; the last tower feeds "
            f"{rows % fed}."
        ]
    return []


def _width_and_rows(
    table: ImplementTable, complaints: Complaints, path: KeyPath
) -> tuple[float | None, int | None]:
    width, rows, spacing = table.width, table.rows, table.row_spacing
    if width is None and rows is not None and spacing is not None:
        width = rows * spacing
        if not 0.1 <= width <= 60.0:
            complaints.add(
                (*path, "rows"),
                f"{rows} rows so far apart make a width of {_length(width)}.",
                "Give rows and row_spacing that make between 0.1 m (4 in) and 60 m (197 ft).",
            )
    elif width is None:
        complaints.add(
            (*path, "width"),
            "The working width is missing.",
            'Give it, such as "20 ft", or the number of rows and their spacing.',
        )
    elif spacing is not None:
        rows = rows if rows is not None else max(1, round(width / spacing))
        if abs(rows * spacing - width) > _MATCH * width:
            key = "row_spacing" if table.rows is None else "rows"
            complaints.add(
                (*path, key),
                f"{rows} rows {_spacing(spacing)} apart span {_length(rows * spacing)}, but the "
                f"width is {_length(width)}.",
                "Correct one of them, or leave one out.",
            )
    return width, rows


def _length(metres: float) -> str:
    return f"{US.length.text(metres)} ({METRIC.length.text(metres)})"


def _spacing(metres: float) -> str:
    return f"{metres / 0.0254:.3g} in ({metres:.3g} m)"


def product_of(
    table: ProductTable,
    written: Mapping[str, object],
    currency: str,
    complaints: Complaints,
    path: KeyPath,
) -> tuple[Product | None, list[str]]:
    """Check a product's analysis and price; take the analysis from the name if none is given.

    Parameters
    ----------
    table : ProductTable
    written : mapping
        The table as it stands in the file, with what could not be read.

    Returns
    -------
    Product or None
        None when something was complained about.
    list of str
        Warnings.
    """
    before = len(complaints.problems)
    warnings: list[str] = []
    label = analysis_in_name(table.name)
    if table.analysis is not None:
        analysis = _checked_analysis(table.analysis, complaints, (*path, "analysis"))
        differs = [k for k, v in label.items() if analysis.get(k, 0.0) != v]
        if differs and not complaints.problems[before:]:
            warnings.append(
                f"{table.name}: its analysis differs from its name in {', '.join(differs)}; the "
                "analysis was used."
            )
    else:
        analysis = _checked_analysis(label, complaints, (*path, "name"))
    if table.price is not None:
        check_currency(written.get("price"), currency, complaints, (*path, "price"))
    kind, lot = seed_lot(table, written, complaints, path)
    if table.kind is None and kind == "fertilizer" and not analysis:
        kind = "other"
    least, most = rate_range(table, complaints, path)
    if len(complaints.problems) > before:
        return None, warnings
    made = Product(
        name=table.name,
        analysis=analysis,
        price_per_kg=table.price,
        kind=kind,
        bulk_density_kg_per_m3=table.bulk_density,
        rate_min_kg_per_m2=least,
        rate_max_kg_per_m2=most,
        seed=lot,
        parts=tuple(table.parts.items()),
        bought_kg=table.bought,
        season_left_kg=table.left,
    )
    return made, warnings


def check_currency(text: object, currency: str, complaints: Complaints, path: KeyPath) -> None:
    """Complain of a price that is not in the currency of the season."""
    written = price_currency(str(text))
    if written is not None and currency not in _SIGNS.get(written, (written,)):
        complaints.add(
            path,
            f'"{text}" is not in {currency}, the currency of the season.',
            f'Write it in {currency}, or set currency = "{_SIGNS.get(written, (written,))[0]}".',
        )


def analysis_in_name(name: str) -> dict[str, float]:
    """Return the label percentages of a name such as ``"11-52-0"`` or ``"12-40-0-10S-1Zn"``."""
    found = _LABEL.search(name)
    if not found:
        return {}
    analysis = dict(zip(NUTRIENTS[:3], map(float, found.groups()[:3]), strict=True))
    symbols = {nutrient.lower(): nutrient for nutrient in NUTRIENTS}
    for percent, symbol in re.findall(r"(\d+(?:\.\d+)?)([A-Za-z]{1,2})", found[4]):
        if symbol.lower() not in symbols:
            return {}
        analysis[symbols[symbol.lower()]] = float(percent)
    return analysis


def _checked_analysis(
    analysis: dict[str, float], complaints: Complaints, path: KeyPath
) -> dict[str, float]:
    symbols = {nutrient.lower(): nutrient for nutrient in NUTRIENTS}
    checked: dict[str, float] = {}
    for key, percent in analysis.items():
        symbol = symbols.get(key.lower())
        if symbol is None:
            label = _ELEMENTS.get(key.lower())
            remedy = (
                f"A label guarantees {label}: write that, with the label's figure."
                if label
                else choice(key, NUTRIENTS)
            )
            complaints.add((*path, key), f'"{key}" is not a nutrient on a label.', remedy)
            continue
        if symbol in checked:
            complaints.add((*path, key), f"{symbol} is given twice.", "Keep one of them.")
        checked[symbol] = percent
    if sum(checked.values()) > 100.0:
        complaints.add(
            path,
            f"{listed(checked)} add up to {sum(checked.values()):g} %, more than all of it.",
            "Give percent of the product's mass.",
        )
    return checked
