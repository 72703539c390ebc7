"""Names of columns: the words in one, and the unit it ends with."""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenacre.io.tables.vocabulary import meant_by
from evenacre.units.parsing import Dimension, unit_factor

_BRACKETED = re.compile(r"^(.*\S)\s*[(\[{]([^()\[\]{}]*)[)\]}]\s*$")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])")
_JOINED = re.compile(r"(lbs?|kg|oz|g|t)(ac|acre|ha|s|sec|h|hr)")
CUT_LENGTH = 10
"""Longest name in a Shapefile; longer ones are cut to it."""

_VOCABULARY = (
    *("longitude", "latitude", "heading", "distance", "interval", "duration", "machine"),
    *("vehicle", "width", "working", "applied", "rate", "seconds", "state", "status", "northing"),
    *("easting", "timestamp", "velocity", "datetime", "target"),
)


@dataclass(frozen=True)
class Header:
    """A column name taken apart."""

    name: str  # as in the file
    words: tuple[str, ...]  # lower case, without a unit in brackets
    unit_text: str  # what stands in brackets at the end
    # The words joined by ``_``, then the same with a last word completed that a limit of ten
    # characters may have cut
    spellings: tuple[str, ...]
    meant: tuple[str, ...]  # the words in English, in full and one by one

    @property
    def full(self) -> str:
        """The words that are meant, joined by ``_``."""
        return "_".join(self.meant)

    def unit(self, dimension: Dimension) -> float | None:
        """SI value of the unit the name ends with (``Rate (kg/ha)``, ``rate_lb_ac``)."""
        return self._unit(dimension)[0]

    def _unit(self, dimension: Dimension) -> tuple[float | None, int]:
        """Also how many of the words the unit takes."""
        if self.unit_text:
            return self._factor(self.unit_text, dimension), 0
        parts = [p for p in re.split(r"[\s_]+", self.name) if p]
        if len(parts) == 1:
            parts = list(self.meant)
        for count in (3, 2, 1):
            if count >= len(parts):
                continue
            tail = parts[-count:]
            for text in ("/".join(tail), " ".join(tail), "".join(tail)):
                factor = self._factor(text, dimension)
                if factor is not None:
                    return factor, count
        return None, 0

    def _factor(self, text: str, dimension: Dimension) -> float | None:
        """Also where the stroke was lost: ``lbac``, and ``lbs`` of a flow."""
        joined = _JOINED.fullmatch(text.lower())
        flow = dimension is Dimension.MASS_PER_TIME and "flow" in self.meant
        if joined and (flow or dimension is Dimension.MASS_PER_AREA):
            text = f"{joined[1]}/{joined[2]}"
        return unit_factor(text, dimension)

    def remainder(self, noise: set[str]) -> str:
        """Return what the name says beside its unit and the words of its role: a product."""
        bracketed = _BRACKETED.match(self.name)
        base = bracketed[1] if bracketed else self.name
        parts = [p for p in re.split(r"[\s_]+", base) if p]
        taken = max(self._unit(d)[1] for d in (Dimension.MASS_PER_AREA, Dimension.MASS_PER_TIME))
        parts = parts[: len(parts) - taken]
        return " ".join(p for p in parts if not set(_words(p)) <= noise).strip(" -:,")


def read_header(name: str) -> Header:
    """Take a column name apart."""
    bracketed = _BRACKETED.match(name)
    base, unit_text = (bracketed[1], bracketed[2].strip()) if bracketed else (name, "")
    words = tuple(_words(base))
    spellings = ["_".join(words)]
    if len(name) == CUT_LENGTH and words:
        # Two letters are enough: the name itself shows that it was cut.
        spellings += [
            "_".join((*words[:-1], whole))
            for whole in _VOCABULARY
            if len(words[-1]) >= 2 and whole.startswith(words[-1]) and whole != words[-1]
        ]
    cut = len(name) == CUT_LENGTH
    meant = [w for word in words[:-1] for w in meant_by(word)]
    meant += [w for word in words[-1:] for w in meant_by(word, cut)]
    if len(spellings) > 1:
        words = (*words, *(s.rsplit("_", 1)[-1] for s in spellings[1:]))
    return Header(name, words, unit_text, tuple(spellings), tuple(meant))


def _words(text: str) -> list[str]:
    parts = re.split(r"[\s_\-.:/,]+", _CAMEL.sub("_", text))
    return [part.lower() for part in parts if part]
