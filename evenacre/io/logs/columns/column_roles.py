"""Which column of a log means what: as the person says, else guessed from its name."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import did_you_mean
from evenacre.io.tables.headers import CUT_LENGTH, Header, read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.units.parsing import Dimension, example_unit, unit_factor

_GUESSES: dict[str, tuple[str, ...]] = {
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

_NOT_LOGGED = {
    *("target", "tgt", "trgt", "set", "setpoint", "planned", "prescribed", "prescription", "rx"),
    *("desired", "requested", "required", "limit", "max", "maximum", "min", "minimum", "total"),
}
"""A column with one of these words is about something wanted or summed, not logged."""

_FOREIGN = {
    "speed": {"fan", "wind", "rotor", "meter", "metering", "roller", "engine"},
    "width": {"row", "tram", "spacing"},
    "interval": {"since", "elapsed", "epoch"},
}
_RATE_WORDS = {"rate", "rt", "applied", "apd", "appl", "app", "as", "actual", "act", "application"}
_FLOW_WORDS = {"flow", "mass", "massflow", "rate", "actual"}
_SURE_WORDS = {"rate": {"rate", "applied", "apd"}, "flow": {"flow", "massflow"}}
_MEASURED = ("speed", "heading", "work", "width", "distance", "sections", "rows")
_NUMBERED = re.compile(
    r"^(section|sect|sec|boom|tower|row|opener)_?(\d+)(_(state|status|on|active|work))?$"
)


def _first_match(role: str, patterns: tuple[str, ...], headers: list[Header]) -> Header | None:
    """Find the column whose name fits a role best."""
    for pattern in patterns:
        for header in headers:
            for name in header.spellings:
                words = set(name.split("_"))
                foreign = _NOT_LOGGED | _FOREIGN.get(role, set())
                if re.search(pattern, name) and not words & foreign:
                    return header
    return None


DIMENSIONS = {
    "rate": Dimension.MASS_PER_AREA,
    "flow": Dimension.MASS_PER_TIME,
    "width": Dimension.LENGTH,
    "distance": Dimension.LENGTH,
    "speed": Dimension.SPEED,
    "interval": Dimension.TIME,
    "time": Dimension.TIME,
}
"""Roles whose numbers have a unit."""

ROLES = (
    *("time", "date", "start", "end", "lon", "lat", "x", "y", "speed", "heading", "work"),
    *("width", "distance", "interval", "machine", "rate", "rate:PRODUCT", "flow"),
    *("flow:PRODUCT", "section:N", "row:N", "sections", "rows", "section_number", "row_number"),
)
"""Roles a column can be given."""


@dataclass(frozen=True)
class ColumnUse:
    """What a column is used for."""

    role: str  # one of ``ROLES`` without what follows a colon
    key: str  # what follows the colon: a product or a number from 1 at the left
    column: str  # name in the file
    unit: float | None  # SI value of one of its numbers; None when not known
    asked: bool  # True when the person named the column

    @property
    def meaning(self) -> str:
        """The role as said in a sentence."""
        return f"{self.role} of {self.key}" if self.key else self.role


@dataclass(frozen=True)
class ColumnPlan:
    """The use of every column that has one."""

    uses: tuple[ColumnUse, ...]

    def get(self, role: str) -> ColumnUse | None:
        """Return the column of a role, if there is one."""
        return next((use for use in self.uses if use.role == role), None)

    def all(self, role: str) -> list[ColumnUse]:
        """Every column of a role."""
        return [use for use in self.uses if use.role == role]


def plan_columns(
    table: RecordTable, asked: Mapping[str, str], findings: Findings, *, placed: bool = False
) -> ColumnPlan:
    """Decide what every column is used for.

    Parameters
    ----------
    asked : mapping of str to str
        Role to column name, optionally with a unit: ``{"flow": "mass [lb/s]"}``. An empty name
        keeps the role from being guessed.
    findings : Findings
        Told of every guess.
    placed : bool
        True when the records have positions of their own, outside the columns.
    """
    headers = [read_header(name) for name in table.names if not table.is_empty(name)]
    uses = [_asked_use(table, role, text) for role, text in asked.items() if text.strip()]
    closed = {role.partition(":")[0] for role in asked}
    taken = {use.column for use in uses}
    if {"sections", "rows", "section", "row"} & closed:
        closed |= {"sections", "rows", "section", "row"}
    if placed or {"x", "y"} & closed:
        closed |= {"lon", "lat"}
    if placed or {"lon", "lat"} & closed:
        closed |= {"x", "y"}
    for role, patterns in _GUESSES.items():
        located = {use.role for use in uses} >= {"lon", "lat"}
        if role in closed or (role in ("x", "y") and located):
            continue
        found = _first_match(role, patterns, [h for h in headers if h.name not in taken])
        if found is None:
            continue
        use = _guessed_use(role, "", found, findings, table.file)
        uses.append(use)
        taken.add(found.name)
    free = [h for h in headers if h.name not in taken]
    if "section" not in closed and not any(u.role in ("sections", "rows") for u in uses):
        uses += _marked(free, findings, table.file)
    for role, words in (("rate", _RATE_WORDS), ("flow", _FLOW_WORDS)):
        if role not in closed:
            uses += _amounts(role, words, free, findings, table.file)
    return ColumnPlan(tuple(uses))


def log_rank(names: Sequence[str]) -> int:
    """Tell by its column names how well something is a log: 2 with times, 1 with measures, else 0.

    Positions are not asked for: a map has them outside its columns.
    """
    headers = [read_header(name) for name in names]
    if any(_first_match(role, _GUESSES[role], headers) for role in ("start", "interval", "time")):
        return 2
    measured = any(_first_match(role, _GUESSES[role], headers) for role in _MEASURED)
    words = [set(header.words) for header in headers]
    sure = set().union(*_SURE_WORDS.values())
    return int(measured or any(own & sure and not own & _NOT_LOGGED for own in words))


def _asked_use(table: RecordTable, role: str, text: str) -> ColumnUse:
    name, _, key = role.partition(":")
    known = {r.partition(":")[0] for r in ROLES}
    if name not in known or (key and name not in ("rate", "flow", "section", "row")):
        raise InputError.at(
            "columns", role, "this is not a role a column can have.", f"Use {', '.join(ROLES)}."
        )
    if name in ("section", "row") and not re.fullmatch("[1-9][0-9]{0,3}", key):
        raise InputError.at(
            "columns", role, "the number is missing.", f"Write {name}:1 for the one at the left."
        )
    column, unit_text = _find_column(table, role, text.strip())
    header = read_header(column)
    dimension = DIMENSIONS.get(name)
    unit = header.unit(dimension) if dimension else None
    if unit_text and dimension:
        unit = unit_factor(unit_text, dimension)
        if unit is None:
            raise InputError.at(
                "columns",
                f"{role} = {text}",
                f'"{unit_text}" is not a unit of {dimension}.',
                f"Write a unit of {dimension}, such as [{example_unit(dimension)}].",
            )
    elif unit_text and name == "heading":
        unit = 1.0 if unit_text.lower().startswith("rad") else None
    return ColumnUse(name, key, column, unit, asked=True)


def _find_column(table: RecordTable, role: str, text: str) -> tuple[str, str]:
    """Column of the file a mapping means, and the unit it was given."""
    bare = re.fullmatch(r"(.*\S)\s*\[([^\[\]]+)\]", text)
    meant = [(text, "")] + ([(bare[1], bare[2])] if bare else [])
    for fold in (str, str.lower):
        for name, unit in meant:
            same = [c for c in table.names if fold(c) == fold(name)]
            if len(same) == 1:
                return same[0], unit
    name, unit = meant[-1]
    cut = [c for c in table.names if len(c) == CUT_LENGTH and name.lower().startswith(c.lower())]
    if len(cut) == 1:
        return cut[0], unit
    meant_so = did_you_mean(bare[1] if bare else text, table.names)
    raise table.error(
        f"columns, {role}",
        f'there is no column "{text}". {meant_so}'.rstrip(),
        f"The file has {table.listing}.",
    )


def _guessed_use(role: str, key: str, header: Header, findings: Findings, file: str) -> ColumnUse:
    dimension = DIMENSIONS.get(role)
    unit = header.unit(dimension) if dimension else None
    meaning = f"{role} of {key}" if key else role
    findings.note(f'{file}: column "{header.name}" taken as {meaning} because of its name.')
    if role == "heading" and any(w.startswith("rad") for w in header.words):
        unit = 1.0
    return ColumnUse(role, key, header.name, unit, asked=False)


def _marked(headers: list[Header], findings: Findings, file: str) -> list[ColumnUse]:
    """Numbered state columns: section_1, section_2 ... or row 1, row 2 ..."""
    found: dict[str, dict[int, Header]] = {"section": {}, "row": {}}
    for header in headers:
        if match := _NUMBERED.match(header.spellings[0]):
            role = "row" if match[1] in ("row", "opener") else "section"
            found[role].setdefault(int(match[2]), header)
    for role, numbered in found.items():
        count = len(numbered)
        first = min(numbered, default=1)
        if count >= 2 and sorted(numbered) == list(range(first, first + count)) and first < 2:
            findings.note(
                f'{file}: columns "{numbered[first].name}" to "{numbered[first + count - 1].name}" '
                f"taken as the states of {count} {role}s from the left because of their names."
            )
            return [
                ColumnUse(role, str(n - first + 1), numbered[n].name, None, asked=False)
                for n in sorted(numbered)
            ]
    return []


def _amounts(
    role: str, words: set[str], headers: list[Header], findings: Findings, file: str
) -> list[ColumnUse]:
    """Columns of rates or flows that carry their unit."""
    dimension = DIMENSIONS[role]
    found: list[tuple[str, Header]] = []
    for header in headers:
        own = set(header.words)
        if not own & words or own & _NOT_LOGGED:
            continue
        if header.unit(dimension) is not None:
            found.append((header.remainder(words), header))
        elif own & _SURE_WORDS[role] and not _has_other_unit(header):
            findings.warn(
                f'{file}: column "{header.name}" looks like a {role} but has no unit of '
                f"{dimension}, so it is not used. To use it, give --column "
                f"'{role}={header.name} [{example_unit(dimension)}]'."
            )
    if len(found) == 1:
        found = [("", found[0][1])]
    if not found:
        # "18-46-0 (lb/ac)": no word says rate, but the unit does and the rest is the product.
        found = [
            (header.remainder(words), header)
            for header in headers
            if header.unit_text
            and header.unit(dimension) is not None
            and not set(header.words) & _NOT_LOGGED
        ]
    return [_guessed_use(role, key, header, findings, file) for key, header in found]


def _has_other_unit(header: Header) -> bool:
    """Tell whether a column is a rate or a flow of the other kind."""
    return any(
        header.unit(d) is not None for d in (Dimension.MASS_PER_AREA, Dimension.MASS_PER_TIME)
    )
