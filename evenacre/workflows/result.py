"""What every finished job can do: tell its answer and its figures, and write its folder."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, ClassVar

import pandas as pd
from markupsafe import Markup

from evenacre.io.result_folder.ownership import SUMMARY
from evenacre.io.result_folder.staging import staged_folder
from evenacre.processes.written import Written

FIGURE_COLUMNS = ("field", "operation", "subject", "name", "value", "unit", "uncertainty")

# By the end of a key of an account, the longest first.
_UNITS = {
    "_kg_per_m2": "kg/m2",
    "_kg_per_m3": "kg/m3",
    "_kg_per_day": "kg/d",
    "_m2_per_s": "m2/s",
    "_seeds_per_m2": "1/m2",
    "_percent": "%",
    "_mps": "m/s",
    "_deg": "deg",
    "_days": "d",
    "_m2": "m2",
    "_kg": "kg",
    "_m": "m",
    "_s": "s",
}
_WHOLE = {"kg": "kg", "lon": "deg", "lat": "deg"}
# What tells one entry of a list from the next; field and operation have columns of their own.
_TELLS = ("product", "seed", "paddock", "zone", "name", "nutrient", "date")


@dataclass(frozen=True)
class Outcome:
    """A finished job, as the command line tells it.

    Attributes
    ----------
    summary : dict
        As in the JSON file of the result.
    lines : tuple of str
        The answer in plain words, for a terminal.
    remarks : tuple of str
        About the run rather than the ground; no part of the result.
    """

    summary: dict[str, Any]
    lines: tuple[str, ...]
    remarks: tuple[str, ...] = ()


class Result(ABC):
    """A finished job: its answer in words and its figures."""

    @abstractmethod
    def _lines(self) -> tuple[str, ...]: ...

    @abstractmethod
    def _summary(self) -> dict[str, Any]: ...

    @cached_property
    def lines(self) -> tuple[str, ...]:
        """The answer in plain words, as the command line prints it."""
        return self._lines()

    @cached_property
    def summary(self) -> dict[str, Any]:
        """Every figure in SI units as JSON types, as in the folder's JSON file."""
        return self._summary()

    @cached_property
    def figures(self) -> pd.DataFrame:
        """Every figure, one a row, in SI units.

        Columns are ``field``, ``operation``, ``subject`` (a product, a zone, a skip ...),
        ``name``, ``value``, ``unit`` and ``uncertainty`` (standard, in the same unit; NaN where
        none is known).
        """
        return figures_of(self.summary)

    def _headline(self) -> str:
        return self.lines[0]

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self._headline()}>"

    def _repr_html_(self) -> str:
        shown = (
            Markup("{}" if line.startswith(" ") else "<strong>{}</strong>").format(line)
            for line in self.lines
        )
        return f"<p>{'<br>'.join(shown)}</p>"


class FolderResult(Result):
    """A finished job that fills a folder."""

    account: ClassVar[str] = SUMMARY
    """Name of the JSON file in its folder."""
    kind: ClassVar[str] = ""
    """Of the result, where several share the name of that file."""
    remarks: tuple[str, ...] = ()
    """About the run rather than the ground."""

    @abstractmethod
    def _fill(self, stage: Path) -> dict[str, Any]:
        """Write every file into an empty folder, and give the account as it was written."""

    def write(self, folder: str | Path) -> Path:
        """Write the result folder, whole or not at all, as the command line does.

        Parameters
        ----------
        folder : str or Path
            An earlier result there is replaced; files of it that were changed since are kept
            in a folder beside it.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        InputError
            When the folder holds anything Evenacre did not write, or cannot be written.
        """
        write_result(type(self), Path(folder), lambda: self)
        return Path(folder)


def write_result(
    made: type[FolderResult],
    out: Path,
    job: Callable[[], FolderResult],
    *,
    written: Written | None = None,
) -> Outcome:
    """Do a job between the opening and the closing of its folder, which is whole or not there.

    A folder that may not be replaced is found before the work, not after it.

    Parameters
    ----------
    made : type
        Of what the job makes.
    out : Path
    job : callable
    written : Written, optional
        Told what was written, and of files that were kept.

    Raises
    ------
    InputError
        When the folder holds anything Evenacre did not write, or cannot be written; and
        whatever the job raises.
    """
    with staged_folder(out, made.account, kind=made.kind, written=written) as stage:
        result = job()
        summary = result._fill(stage)
    return Outcome(summary, result.lines, result.remarks)


def figures_of(summary: Mapping[str, Any]) -> pd.DataFrame:
    """Lay the numbers of an account out, one a row; a key of it ends in the SI unit."""
    rows = _rows(summary, {"field": "", "operation": "", "subject": ""}, summary.get("currency"))
    return pd.DataFrame(rows, columns=list(FIGURE_COLUMNS)).astype(
        {"value": float, "uncertainty": float}
    )


def _rows(
    node: Mapping[str, Any], about: dict[str, str], currency: str | None
) -> Iterator[dict[str, Any]]:
    about |= {key: node[key] for key in ("field", "operation") if isinstance(node.get(key), str)}
    known = node.get("uncertainty", {})
    for key, value in node.items():
        if key == "uncertainty" or "sigma" in key.split("_"):
            continue
        if _is_number(value):
            name, unit = _named(key)
            if unit == "1" and currency and ("cost" in key or about["subject"].startswith("money")):
                unit = currency
            sigma = known.get(key, node.get(key.removesuffix(f"_{unit}") + f"_sigma_{unit}"))
            sigma = node.get(f"sigma_{key}", sigma)
            yield {**about, "name": name, "value": value, "unit": unit, "uncertainty": sigma}
            continue
        for label, child in _children(key, value):
            subject = ", ".join(filter(None, (about["subject"], label)))
            yield from _rows(child, {**about, "subject": subject}, currency)


def _children(key: str, value: Any) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """The tables under a key, each with what to call it."""
    if isinstance(value, Mapping):
        nested = value and all(isinstance(child, Mapping) for child in value.values())
        if nested:
            yield from ((f"{_one_of(key)} {name}", child) for name, child in value.items())
        else:
            yield key, value
    if not isinstance(value, list):
        return
    for number, child in enumerate(value, start=1):
        if isinstance(child, Mapping):
            told = [child[k] for k in _TELLS if isinstance(child.get(k), str)]
            elsewhere = key in ("operations", "fields")
            label = "" if elsewhere else " ".join([_one_of(key), *(told or [str(number)])])
            yield label, child
        elif _is_number(child):
            yield str(number), {key: child}


def _one_of(key: str) -> str:
    return key.removesuffix("es") if key.endswith("sses") else key.removesuffix("s")


def _named(key: str) -> tuple[str, str]:
    """Name and unit of a figure by its key."""
    if key in _WHOLE:
        return key, _WHOLE[key]
    for end, unit in _UNITS.items():
        if key.endswith(end):
            return key.removesuffix(end), unit
    return key, "1"


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
