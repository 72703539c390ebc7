"""Names of columns: the words in one, and the unit it ends with."""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenacre.io.tables.vocabulary import meant_by
from evenacre.units.parsing import Dimension, unit_factor
from evenacre.units.spelling import spelled_unit

_BRACKETED = re.compile(r"^(.*\S)\s*[(\[{]([^()\[\]{}]*)[)\]}]\s*$")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])")
_RATIO = re.compile(
    r"[^\W\d]+\.?\s*(/|per\b)\s*[\d,]*\s*[^\W\d]+|[^\W\d]+\s*(-1|⁻¹)", re.IGNORECASE
)
# Most words of a unit that stands at the end of a name without brackets.
_LONGEST_UNIT = 6
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
        for count in range(min(_LONGEST_UNIT, len(parts) - 1), 0, -1):
            for text in _spelled(parts[-count:]):
                factor = self._factor(text, dimension)
                if factor is not None:
                    return factor, count
        return None, 0

    @property
    def stated_unit(self) -> str:
        """The unit the name ends with, of whatever kind and known or not; empty if none is seen.

        Without brackets only a ratio of known units counts, and a mass.
        """
        if text := self.unit_text:
            known = "%" in text or _RATIO.search(text) or spelled_unit(text) is not None
            return text if known else ""
        parts = [p for p in re.split(r"[\s_]+", self.name) if p]
        if len(parts) > 1 and len(parts[-1]) > 1 and unit_factor(parts[-1], Dimension.MASS):
            return parts[-1]
        for count in range(min(_LONGEST_UNIT, len(parts) - 1), 1, -1):
            for text in _spelled(parts[-count:]):
                if _RATIO.search(text) and spelled_unit(text) is not None:
                    return text
        return ""

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


def _spelled(words: list[str]) -> tuple[str, ...]:
    """What words at the end of a name may spell together."""
    return "/".join(words), " ".join(words), "".join(words)


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
