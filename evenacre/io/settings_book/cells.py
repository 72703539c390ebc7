"""A line of the settings book to and from the values it stands for."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from evenacre.errors import InputError
from evenacre.io.settings_book.lines import (
    COMPLETE,
    DIMENSIONS,
    UNITS,
    WHOLE,
    BookText,
    Line,
    column_factor,
    written,
)
from evenacre.io.writers.cells import cell, without_apostrophe
from evenacre.model import PastSetting
from evenacre.units.parsing import parse_quantity, plain_number

_NUMBER = re.compile(r"[-+]?[\d.,]+(?:[eE][-+]?\d+)?")

_TEXTS = {
    "product": "product",
    "date": "date",
    "roller": "roller",
    "setting": "setting",
    "fan": "fan",
    "down pressure": "down_pressure",
    "result": "result",
    "trouble": "trouble",
}
_QUANTITIES = {
    "rate": "rate_kg_per_m2",
    "bulk density": "bulk_density_kg_per_m3",
    "ground speed": "speed_mps",
    "target": "target_kg_per_m2",
}


def line_of(book: BookText, setting: PastSetting, file: str, warn: Callable[[str], None]) -> str:
    """Write a setting as a line of this book, in its columns, units and decimal mark."""
    values = {name: " ".join(str(getattr(setting, key)).split()) for name, key in _TEXTS.items()}
    for name, key in _QUANTITIES.items():
        values[name] = _quantity(getattr(setting, key), name, book)
    values["scatter"] = "" if setting.scatter is None else f"{100 * setting.scatter:.3g}"
    values["catches"] = "" if setting.catches is None else str(setting.catches)
    values[COMPLETE] = WHOLE
    cells = [""] * len(book.header)
    for name, value in values.items():
        if name in book.places:
            cells[book.places[name]] = _shown(value, decimal_comma=book.decimal_comma)
        elif value and name != COMPLETE:
            warn(f'{file}: the book has no column "{name}", so "{value}" was not noted.')
    return written(cells, book.separator)


def _shown(value: str, *, decimal_comma: bool) -> str:
    """A cell as spreadsheets take it: numbers as numbers, no text as a formula."""
    if not _NUMBER.fullmatch(value):
        return str(cell(value))
    return value.replace(".", ",") if decimal_comma else value


def _quantity(si: float | None, name: str, book: BookText) -> str:
    if si is None:
        return ""
    factor = column_factor(name, book.units.get(name, ""))
    if factor is not None:
        return f"{si / factor:.6g}"
    unit = UNITS[name][1]  # the column has none, so the cell says it
    return f"{si / (column_factor(name, unit) or 1.0):.6g} {unit}"


def setting_of(book: BookText, line: Line, file: str, warn: Callable[[str], None]) -> PastSetting:
    """Read a line of this book; a cell that is no quantity is left out with a warning."""

    def content(name: str) -> str:
        place = book.places.get(name)
        return line.cells[place] if place is not None else ""

    values: dict[str, Any] = {
        key: without_apostrophe(content(name)) for name, key in _TEXTS.items()
    }
    for name, key in _QUANTITIES.items():
        try:
            values[key] = _measured(content(name), name, book)
        except InputError as error:
            values[key] = None
            warn(f"{file}, line {line.number}, {name}: {error.problems[0].what} Left out.")
    catches, scatter = _number(content("catches")), _number(content("scatter"))
    return PastSetting(
        **values,
        catches=None if catches is None else round(catches),
        scatter=None if scatter is None else scatter / 100,
        place=f"{file}, line {line.number}",
    )


def _measured(text: str, name: str, book: BookText) -> float | None:
    """SI value of a cell, whose unit stands in it or at the head of its column."""
    if not text:
        return None
    unit = book.units.get(name, "")
    if _NUMBER.fullmatch(text) and unit:
        text = f"{text.replace(',', '.') if book.decimal_comma else text} {unit}"
    value = parse_quantity(text, DIMENSIONS[name])
    if value <= 0:
        raise InputError.at("", "", f'"{text}" is not above zero.', "")
    return value


def _number(text: str) -> float | None:
    value = plain_number(text.strip(" %"))
    return value if value is not None and 0 <= value < math.inf else None
