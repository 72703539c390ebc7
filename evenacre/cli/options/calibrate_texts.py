"""The options of ``calibrate`` as typed, and how the quantities in them are read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from evenacre.errors import InputError, Problem
from evenacre.units.parsing import Dimension, parse_quantity

_LIST = re.compile(r"(?P<numbers>[\d.,]+(?:[\s;]+[\d.,]+)+)\s*(?P<unit>[A-Za-z].*)")


@dataclass(frozen=True)
class Texts:
    """Options as typed."""

    product: str = ""
    catches: Sequence[str] = ()
    opener_catches: Sequence[str] = ()
    scale: str | None = None
    turns: float | None = None
    turns_per_area: str | None = None
    area: str | None = None
    circumference: str | None = None
    wheel_diameter: str | None = None
    width: str | None = None
    rows: int | None = None
    row_spacing: str | None = None
    openers: int | None = None
    target: str | None = None
    tolerance: float = 5.0
    setting: str = ""
    tested: Sequence[str] = ()
    bulk_density: str | None = None
    fill: Sequence[str] = ()
    compartment: Sequence[str] = ()
    roller: str = ""
    fan: str = ""
    speed: str | None = None
    down_pressure: str = ""
    trouble: str = ""
    date: str = ""
    beyond: bool = False


@dataclass
class Reader:
    """Reads quantities and keeps every complaint."""

    problems: list[Problem] = field(default_factory=list)

    def complain(self, option: str, what: str, remedy: str) -> None:
        """Add a complaint about an option."""
        self.problems.append(Problem("calibrate", option, what, remedy))

    def quantity(self, text: str | None, dimension: Dimension, option: str) -> float | None:
        """One quantity above zero; None when not given or wrong."""
        values = self.quantities(text, dimension, option) if text is not None else []
        if len(values) > 1:
            self.complain(option, f'"{text}" is more than one.', "Give one.")
            return None
        return values[0] if values else None

    def quantities(
        self, text: str, dimension: Dimension, option: str, *, zero: bool = False
    ) -> list[float]:
        """One quantity or several with one unit: ``22.6 22.4 22.0 g``."""
        several = _LIST.fullmatch(text.strip())
        parts = [text]
        if several:
            parts = [f"{n} {several['unit']}" for n in re.split(r"[\s;]+", several["numbers"])]
        values = []
        for part in parts:
            try:
                value = parse_quantity(part, dimension, file="calibrate", place=option)
            except InputError as error:
                self.problems += error.problems
                return []
            if value < 0 or (value == 0 and not zero):
                self.complain(option, f'"{part}" is not above zero.', "Check the figure.")
                return []
            values.append(value)
        return values

    def named(self, text: str, option: str, what: str) -> tuple[str, str] | None:
        """Parts of ``NAME=VALUE``."""
        name, sign, value = (part.strip() for part in text.partition("="))
        if not (name and sign and value):
            self.complain(option, f'"{text}" is not {what}.', f"Write {what}.")
            return None
        return name, value
