"""Names of columns: the words in one, the unit it ends with, and what logs call what."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from evenacre.units.parsing import Dimension, unit_factor

_BRACKETED = re.compile(r"^(.*\S)\s*[(\[{]([^()\[\]{}]*)[)\]}]\s*$")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])")
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

    def unit(self, dimension: Dimension) -> float | None:
        """SI value of the unit the name ends with (``Rate (kg/ha)``, ``rate_lb_ac``)."""
        return self._unit(dimension)[0]

    def _unit(self, dimension: Dimension) -> tuple[float | None, int]:
        """Also how many of the words the unit takes."""
        if self.unit_text:
            return unit_factor(self.unit_text, dimension), 0
        parts = [p for p in re.split(r"[\s_]+", self.name) if p]
        for count in (3, 2, 1):
            if count >= len(parts):
                continue
            tail = parts[-count:]
            for text in ("/".join(tail), " ".join(tail), "".join(tail)):
                factor = unit_factor(text, dimension)
                if factor is not None:
                    return factor, count
        return None, 0

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
        if len(spellings) > 1:
            words = (*words, *(s.rsplit("_", 1)[-1] for s in spellings[1:]))
    return Header(name, words, unit_text, tuple(spellings))


def told_apart(names: Iterable[str]) -> list[str]:
    """Number names that come again: ``rate``, ``rate (2)``."""
    apart: list[str] = []
    for name in names:
        fresh, repeat = name, 2
        while fresh in apart:
            fresh = f"{name} ({repeat})"
            repeat += 1
        apart.append(fresh)
    return apart


def _words(text: str) -> list[str]:
    parts = re.split(r"[\s_\-.:/,]+", _CAMEL.sub("_", text))
    return [part.lower() for part in parts if part]


GUESSES: dict[str, tuple[str, ...]] = {
    "lon": (r"^(lon|long|longitude|lng)$", r"(^|_)(lon|long|longitude|lng)(_|$)"),
    "lat": (r"^(lat|latitude)$", r"(^|_)(lat|latitude)(_|$)"),
    "x": (r"^(x|easting|east)(_|$)", r"(^|_)(x|easting|utm_e)(_|$)"),
    "y": (r"^(y|northing|north)(_|$)", r"(^|_)(y|northing|utm_n)(_|$)"),
    "start": (r"^(start|begin)(_?(time|at|utc))?$", r"^time_(start|begin)$"),
    "end": (r"^(end|stop|finish)(_?(time|at|utc))?$", r"^time_(end|stop)$"),
    "interval": (
        r"^(interval|duration|seconds|secs|dt|delta_t|cycle|cycle_time)(_|$)",
        r"(^|_)(interval|duration)(_|$)",
    ),
    "time": (
        r"^(time_?stamp|date_?time|iso_?time|time_iso|ts|iso|iso_?8601)(_|$)",
        r"^(time|utc|gps_?time|local_time|time_of_day)(_(utc|local|s|ms|sec|seconds|gps|iso))?$",
        r"(^|_)(time|time_?stamp|date_?time|elapsed|since|epoch|unix|utc|utctime)(_|$)",
    ),
    "date": (r"^date(_|$)", r"(^|_)date$"),
    "speed": (r"^(speed|velocity|spd)(_|$)", r"(^|_)(speed|velocity|spd|vel)(_|$)"),
    "heading": (
        r"^(heading|course|bearing|cog|azimuth|hdg)(_|$)",
        r"(^|_)(heading|course|bearing|cog|azimuth|hdg)(_|$)",
        r"^(track|direction)(_(deg|degrees?|true))?$",
    ),
    "work": (
        r"^(work|working|worked|in_work|work_?(state|status)|working_(state|status))$",
        r"^(implement|tool|drill|master|product|apply|applying|application)_"
        r"(state|status|switch|on|active|engaged)$",
        r"^(engaged|applying|on_off|active)(_state)?$",
    ),
    "width": (r"(^|_)(width|swath|swth|wdth)(_|$)",),
    "distance": (r"^(distance|dist)(_|$)", r"(^|_)(distance|dist|moved)(_|$)"),
    "machine": (
        r"^(machine|vehicle|tractor|equipment|device)(_?(id|name|serial|no|nr|number))?$",
        r"^(implement|drill|unit|serial)_(id|name|serial|no|nr|number)$",
    ),
    "sections": (r"^(section|boom)s?_?(state|status|switch|bit)s?$", r"^sections(_on)?$"),
    "rows": (r"^(row|opener)s?_?(state|status|switch|bit)s?$", r"^rows(_on)?$"),
}
"""Patterns of names by role, the surest first, over words joined by ``_``."""

NOT_LOGGED = {
    *("target", "tgt", "trgt", "set", "setpoint", "planned", "prescribed", "prescription", "rx"),
    *("desired", "requested", "required", "limit", "max", "maximum", "min", "minimum", "total"),
}
"""A column with one of these words is about something wanted or summed, not logged."""

_FOREIGN = {
    "speed": {"fan", "wind", "rotor", "meter", "metering", "roller", "engine"},
    "width": {"row", "tram", "spacing"},
    "interval": {"since", "elapsed", "epoch"},
}
RATE_WORDS = {"rate", "rt", "applied", "apd", "appl", "app", "as", "actual", "act", "application"}
FLOW_WORDS = {"flow", "mass", "massflow", "rate", "actual"}
SURE_WORDS = {"rate": {"rate", "applied", "apd"}, "flow": {"flow", "massflow"}}
NUMBERED = re.compile(
    r"^(section|sect|sec|boom|tower|row|opener)_?(\d+)(_(state|status|on|active|work))?$"
)


def first_match(role: str, patterns: tuple[str, ...], headers: list[Header]) -> Header | None:
    """Find the column whose name fits a role best."""
    for pattern in patterns:
        for header in headers:
            for name in header.spellings:
                words = set(name.split("_"))
                foreign = NOT_LOGGED | _FOREIGN.get(role, set())
                if re.search(pattern, name) and not words & foreign:
                    return header
    return None
