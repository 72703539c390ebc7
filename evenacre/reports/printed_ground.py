"""A job's ground and other parts of a whole as they are printed: so that they add up."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from evenacre.language import number, tr
from evenacre.reports.figure_text import area_decimals
from evenacre.units.display import DisplayUnit, UnitSystem

_MADE_OF = {
    "covered_area_m2": ("covered_once_m2", "overlap_area_m2"),
    "overlap_area_m2": ("covered_twice_m2", "covered_more_m2"),
}
"""What makes up what, from the whole down."""


def adding_up(parts: Sequence[float], total: int) -> list[int]:
    """Round parts to whole numbers that make up a total.

    Each is rounded down, and those with the largest remainders up (Hamilton's method), so that
    none is moved by one or more where the total is within one of their sum; a part of 0 stays 0.

    Parameters
    ----------
    parts : sequence of float
        None of them negative.
    total : int
        Their sum, rounded.
    """
    rounded = [math.floor(part) for part in parts]
    largest = sorted(range(len(parts)), key=lambda i: rounded[i] - parts[i])
    for i in largest[: max(total - sum(rounded), 0)]:
        rounded[i] += 1
    return rounded


def shared(parts: Sequence[float], unit: DisplayUnit) -> list[str]:
    """Write what makes up a whole (SI) to the step the whole is written in, so that it does.

    Parameters
    ----------
    parts : sequence of float
        None of them negative.
    unit : DisplayUnit
    """
    whole = unit.of(sum(parts))
    if not whole > 0:
        return [unit.text(part) for part in parts]
    decimals = unit.places(whole)
    step = 10.0**-decimals
    steps = adding_up([unit.of(part) / step for part in parts], round(whole / step))
    texts = (number(round(n * step, decimals), f",.{max(decimals, 0)}f") for n in steps)
    return [f"{text} {unit.word}" for text in texts]


class PrintedGround:
    """The areas of one job as texts, by the keys they are declared by.

    All are in the large unit, to the decimals that the uncertainty of the covered ground allows,
    two at most. As printed, what was missed is what was to be worked less what is covered, and
    what is covered once and again makes up what is covered.

    Parameters
    ----------
    row : AuditResult, or its record
        With areas in m² under their keys; one that is not there is not known.
    units : UnitSystem
    """

    def __init__(self, row: Any, units: UnitSystem) -> None:
        self._row, self._unit = row, units.area
        uncertainty = self._value("uncertainty")
        self._sigma = uncertainty if isinstance(uncertainty, Mapping) else {}
        self._decimals = area_decimals(self._sigma.get("covered_area_m2"), units)
        self._step = 10.0**-self._decimals
        self._printed = dict(self._adding_up())

    def _value(self, key: str) -> Any:
        return self._row.get(key) if isinstance(self._row, Mapping) else getattr(self._row, key)

    def _steps(self, area_m2: float) -> float:
        return self._unit.of(area_m2) / self._step

    def _adding_up(self) -> Iterator[tuple[str, int]]:
        chief = (self._value("workable_area_m2"), self._value("covered_area_m2"))
        if None in chief:
            return
        whole, covered = (round(self._steps(area_m2)) for area_m2 in chief)
        steps = {
            "workable_area_m2": whole,
            "covered_area_m2": covered,
            "skip_area_m2": max(whole - covered, 0),
        }
        for key, made_of in _MADE_OF.items():
            parts = [self._value(part) for part in made_of]
            if key not in steps or None in parts:
                break
            steps |= zip(made_of, adding_up([*map(self._steps, parts)], steps[key]), strict=True)
        yield from steps.items()
        # Where nothing was covered thrice, it is one figure under two names.
        if "overlap_area_m2" in steps and not self._value("covered_more_m2"):
            yield "excess_area_m2", steps["overlap_area_m2"]

    def _number(self, area_m2: float, steps: int) -> str:
        if not steps and area_m2 > 0:
            return tr("under {amount}", amount=number(self._step, f".{self._decimals}f"))
        return number(steps * self._step, f",.{self._decimals}f") if steps else "0"

    def _of(self, key: str) -> str:
        value = self._value(key)
        return self._number(value, self._printed.get(key, round(self._steps(value))))

    def text(self, key: str) -> str:
        """Write the area of a key; nothing where it is not known."""
        return "" if self._value(key) is None else f"{self._of(key)} {self._unit.word}"

    def with_error(self, key: str) -> str:
        """The same with its standard uncertainty, which is a last digit at least, if known."""
        sigma = self._sigma.get(key)
        if not sigma or not math.isfinite(sigma):
            return self.text(key)
        steps = max(round(self._steps(sigma)), 1)
        error = number(steps * self._step, f",.{self._decimals}f")
        return f"{self._of(key)} ± {error} {self._unit.word}"

    def missed(self, *listed_m2: float) -> tuple[str, ...]:
        """Write what makes up the missed ground: the texts add up to its own.

        Parameters
        ----------
        *listed_m2 : float
            Ground of listed places, in parts.

        Returns
        -------
        tuple of str
            Those parts, the rest, and all places together.
        """
        listed, whole = sum(listed_m2), self._printed["skip_area_m2"]
        parts = (*listed_m2, max(self._value("skip_area_m2") - listed, 0.0))
        # A place is told alone too, so what lies in none takes the rounding if it can.
        steps = [round(self._steps(part)) for part in listed_m2]
        steps.append(whole - sum(steps))
        if steps[-1] < 0 or abs(steps[-1] - self._steps(parts[-1])) > 1:
            steps = adding_up([*map(self._steps, parts)], whole)
        printed = (*zip(parts, steps, strict=True), (listed, sum(steps[:-1])))
        return tuple(f"{self._number(*of)} {self._unit.word}" for of in printed)
