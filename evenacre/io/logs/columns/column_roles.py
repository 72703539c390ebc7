"""Which column of a log means what: as the person says, else guessed from its name."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import did_you_mean, listed
from evenacre.io.logs.columns.by_values import roles_by_values, times_by_values
from evenacre.io.logs.columns.columns_read import (
    ColumnRead,
    ColumnsRead,
    Seen,
    cells_of,
    rows_shown,
)
from evenacre.io.logs.columns.width_unit import width_unit
from evenacre.io.tables.headers import CUT_LENGTH, Header, read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr
from evenacre.units.parsing import Dimension, example_unit, unit_factor
from evenacre.units.spelling import AMBIGUOUS

_LIFTING = (
    r"^((implement|tool|drill|opener|hitch)s?_)?(is_)?(lifted|raised)(_(state|status|switch))?$"
    r"|^(implement|tool|drill)_(is_)?up$"
)
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
        r"(^|_)(time|time_?stamp|date_?time|elapsed|since|epoch|unix|utc|utctime|clock)(_|$)",
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
        _LIFTING,
    ),
    "width": (r"(^|_)(width|swath|swth|wdth)(_|$)",),
    "distance": (r"^(distance|dist)(_|$)", r"(^|_)(distance|dist|moved)(_|$)"),
    "machine": (
        r"^(machine|vehicle|tractor|equipment|device)(_?(id|name|serial|no|nr|number))?$",
        r"^(implement|drill|unit|serial)_(id|name|serial|no|nr|number)$",
    ),
    "quality": (
        r"^(fix|rtk|dgps)$",
        r"(^|_)(fix|gps|gnss|rtk|dgps|differential)_?(quality|type|mode|status|state|kind|fix)(_|$)",
        r"^(quality|signal_type|correction_(type|status|mode))$",
    ),
    "hdop": (r"(^|_)hdop(_|$)",),
    "accuracy": (
        r"^(gps_|gnss_|position_|pos_|horizontal_|hor_|h_)?accuracy(_(m|metres?|meters?|ft|feet))?$",
        r"^(h|hor|horizontal)_?acc(_(m|metres?|meters?|ft|feet))?$",
    ),
    "sections": (
        r"^(section|boom)s?_?(state|status|switch|bit)s?$",
        r"^(boom_|tool_|implement_)?sections(_(on|states?|status))?$",
    ),
    "rows": (r"^(row|opener)s?_?(state|status|switch|bit)s?$", r"^rows(_on)?$"),
}
"""Patterns of names by role, the surest first, over words joined by ``_``."""

_WANTED = {"target", "tgt", "trgt", "setpoint", "planned", "prescribed", "prescription", "rx"}
_WANTED |= {"control", "commanded"}
_NOT_LOGGED = {
    *("target", "tgt", "trgt", "set", "setpoint", "planned", "prescribed", "prescription", "rx"),
    *("desired", "requested", "required", "limit", "max", "maximum", "min", "minimum", "total"),
}
"""A column with one of these words is about something wanted or summed, not logged."""

_FOREIGN = {
    "speed": {"fan", "wind", "rotor", "meter", "metering", "roller", "engine"},
    "width": {"row", "tram", "spacing"},
    "interval": {"since", "elapsed", "epoch"},
    "time": {"zone"},
    "x": {"offset"},
    "y": {"offset"},
    "rate": {"fuel", "engine", "control", "commanded"},
}
_RATE_WORDS = {"rate", "rt", "applied", "apd", "appl", "app", "as", "actual", "act", "application"}
_FLOW_WORDS = {"flow", "mass", "massflow", "rate", "actual"}
_LIKELY = {"rate": {"yield", "yld"}, "flow": {"mass"}}
_SURE_WORDS = {"rate": {"rate", "applied", "apd"}, "flow": {"flow", "massflow"}}
_TIMES = ("time", "date", "start")
_VITAL = ("time", "date", "start", "lon", "lat", "x", "y")
NAMED_ROLES = {
    "field": re.compile(r"(field|paddock)(_name)?"),
    "product": re.compile(r"(product|fertilizer|material|variety|hybrid)(_name)?"),
    "crop": re.compile(r"crop(_(name|type))?"),
    "implement": re.compile(r"(implement|drill|tool)(_name)?"),
}
"""Columns that may hold a name of something, by their names in English."""
DATE_PARTS = {"year": ("year",), "month": ("month",), "day": ("day",)}
CLOCK_PARTS = {
    "hour": ("hour", "hours", "hr", "hh"),
    "minute": ("minute", "minutes", "min"),
    "second": ("second", "seconds", "sec", "ss"),
}
AMOUNTS = ("rate", "flow", "mass")
"""Roles that may name a product; ``mass`` is what was placed since the last record."""
_AT_WORK = ("work", "section", "row", "sections", "rows", *AMOUNTS)
_MEASURED = ("speed", "heading", "work", "width", "distance", "sections", "rows")
_NUMBERED = re.compile(
    r"^(section|sect|sec|boom|tower|row|opener)_?(\d+)(_(state|status|on|active|work))?$"
)


def _best_matches(role: str, headers: list[Header], *, meant: bool = False) -> list[Header]:
    """Find the columns whose names fit a role best: as spelled, or by what their words mean."""
    foreign = _NOT_LOGGED | _FOREIGN.get(role, set())
    for pattern in _GUESSES[role]:
        fitting = [
            header
            for header in headers
            for name in ((header.full,) if meant else header.spellings)
            if re.search(pattern, name)
            and not {*name.split("_"), *(header.words if meant else ())} & foreign
        ]
        if fitting:
            return list({header.name: header for header in fitting}.values())
    return []


DIMENSIONS = {
    "rate": Dimension.MASS_PER_AREA,
    "flow": Dimension.MASS_PER_TIME,
    "mass": Dimension.MASS,
    "width": Dimension.LENGTH,
    "distance": Dimension.LENGTH,
    "speed": Dimension.SPEED,
    "interval": Dimension.TIME,
    "time": Dimension.TIME,
    "accuracy": Dimension.LENGTH,
}
"""Roles whose numbers have a unit."""

ROLES = (
    *("time", "date", "start", "end", "lon", "lat", "x", "y", "speed", "heading", "work"),
    *("width", "distance", "interval", "machine", "quality", "hdop", "accuracy"),
    *("rate", "rate:PRODUCT", "flow"),
    *(
        "flow:PRODUCT",
        "mass",
        "mass:PRODUCT",
        "section:N",
        "row:N",
        "sections",
        "rows",
        "section_number",
        "row_number",
    ),
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

    @property
    def tells_times(self) -> bool:
        """Whether any column says when a record was made."""
        return any(map(self.get, ("time", "start", "date", "interval", "year", "hour")))

    def all(self, role: str) -> list[ColumnUse]:
        """Every column of a role."""
        return [use for use in self.uses if use.role == role]


def plan_columns(
    table: RecordTable,
    asked: Mapping[str, str],
    findings: Findings,
    *,
    placed: bool = False,
    seen: Seen | None = None,
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
    seen : callable, optional
        Told what came of it, and what was asked where nothing did.
    """
    try:
        plan = _planned(table, asked, findings, placed=placed)
    except InputError:
        if seen is not None:
            seen(_as_read(table, ColumnPlan(tuple(_asked_as_far_as_it_goes(table, asked)))))
        raise
    if seen is not None:
        seen(_as_read(table, plan))
    return plan


def _asked_as_far_as_it_goes(table: RecordTable, asked: Mapping[str, str]) -> Iterator[ColumnUse]:
    for role, text in asked.items():
        if text.strip():
            with suppress(InputError):
                yield _asked_use(table, role, text)


def _as_read(table: RecordTable, plan: ColumnPlan) -> ColumnsRead:
    """What the columns were taken for, for people to look at."""
    rows = rows_shown(table)
    columns = []
    for name in table.names:
        uses = [use for use in plan.uses if use.column == name]
        first = uses[0] if uses else None
        columns.append(
            ColumnRead(
                name,
                tuple(f"{use.role}:{use.key}" if use.key else use.role for use in uses),
                DIMENSIONS.get(first.role) if first else None,
                first.unit if first else None,
                any(use.asked for use in uses),
                cells_of(table, name, rows),
            )
        )
    return ColumnsRead(table.file, tuple(map(table.place, rows)), tuple(columns))


def _planned(
    table: RecordTable, asked: Mapping[str, str], findings: Findings, *, placed: bool
) -> ColumnPlan:
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
    if table.headless:
        for role, column in roles_by_values(table, [use.role for use in uses]).items():
            findings.note(
                tr(
                    "{about} taken as {role} because of its values.",
                    about=table.about(column),
                    role=role,
                )
            )
            uses.append(ColumnUse(role, "", column, None, asked=False))
        return ColumnPlan(tuple(uses))
    for meant in (False, True):
        for role in _GUESSES:
            has = {use.role for use in uses}
            if role in closed | has or (role in ("x", "y") and has >= {"lon", "lat"}):
                continue
            free = [h for h in headers if h.name not in taken]
            found = _one_of(table, role, _best_matches(role, free, meant=meant), findings, meant)
            if found is not None:
                uses.append(_guessed_use(role, "", found, findings, table.file))
                taken.add(found.name)
        free = [h for h in headers if h.name not in taken]
        if meant:
            break
        if "section" not in closed and not any(u.role in ("sections", "rows") for u in uses):
            uses += _marked(free, findings, table.file)
        for role, words in (("rate", _RATE_WORDS), ("flow", _FLOW_WORDS)):
            if role not in closed and "mass" not in closed:
                uses += _amounts(role, words, free, findings, table.file)
        if not ({*AMOUNTS} & closed or any(u.role in AMOUNTS for u in uses)):
            _ask_for_amounts(free, findings, table.file)
        taken |= {use.column for use in uses}
    if {use.role for use in uses} >= {"lon", "lat"}:
        uses = [use for use in uses if use.asked or use.role not in ("x", "y")]
        taken = {use.column for use in uses}
    for number, use in enumerate(uses):
        header = read_header(use.column)
        if use.role == "width" and use.unit is None and not header.stated_unit:
            unit = width_unit(table, header, headers, findings)
            uses[number] = replace(use, unit=unit)
    untold = [h for h in headers if h.name not in taken]
    if not ({"work", "sections", "rows"} & closed or any(u.role in _AT_WORK for u in uses)):
        uses += _work_by_amount(table, untold, findings)
    uses += _date_parts(headers, uses)
    if not ({*_TIMES} & closed or ColumnPlan(tuple(uses)).tells_times):
        uses += _by_values(table, [h.name for h in untold], findings)
    uses += _target(table, free)
    return ColumnPlan((*uses, *_names(table, free)))


def _work_by_amount(
    table: RecordTable, headers: list[Header], findings: Findings
) -> list[ColumnUse]:
    """The work state told by an amount in a unit of no use: nothing was put down where it is 0."""
    for header in headers:
        own = {*header.words, *header.meant}
        if own & (_NOT_LOGGED | _FOREIGN["rate"]) or not table.holds_numbers(header.name):
            continue
        if own & (_SURE_WORDS["rate"] | _SURE_WORDS["flow"]):
            values = table.numbers(header.name, "rate", Findings())
            if (values == 0).any() and (values > 0).any():
                findings.warn(
                    tr(
                        "{about} tells the work state: where it is 0, the tool is taken to "
                        "be up. To leave it out, give --column work=.",
                        about=table.about(header.name),
                    )
                )
                return [ColumnUse("work", "", header.name, None, asked=False)]
    return []


def _by_values(table: RecordTable, names: list[str], findings: Findings) -> list[ColumnUse]:
    """Columns that hold times by their values, where no name tells of any."""
    found, likely = times_by_values(table, names)
    for role, column in found.items():
        findings.warn(
            tr(
                "{about} taken as {role} because of its values, as no name tells of times. "
                "To leave it out, give --column time=.",
                about=table.about(column),
                role=role,
            )
        )
    if likely and not found:
        findings.warn(
            tr(
                "{file}: {listed} may hold the times, which no column is named after. To use "
                "one, give --column 'time={likely}'.",
                file=table.file,
                listed=listed(likely),
                likely=likely[0],
            )
        )
    return [ColumnUse(role, "", column, None, asked=False) for role, column in found.items()]


def _one_of(
    table: RecordTable, role: str, fitting: list[Header], findings: Findings, meant: bool
) -> Header | None:
    """Take the first of the columns that fit a role, unless the others say something else."""
    if not fitting:
        return None
    first, *others = fitting
    cells = table.text(first.name)
    others = [h for h in others if not table.text(h.name).equals(cells)]
    if not others:
        return first
    names = listed(h.name for h in fitting)
    if not meant:
        findings.warn(
            tr(
                '{file}: columns {names} may each be the {role}; "{name}" was taken. To take '
                "another, give --column '{role}={name_2}'.",
                file=table.file,
                names=names,
                role=role,
                name=first.name,
                name_2=others[0].name,
            )
        )
        return first
    if role in _VITAL:
        raise table.error(
            "",
            tr("columns {names} may each be the {role}.", names=names, role=role),
            tr("Name the one that is: --column '{role}={name}'.", role=role, name=first.name),
        )
    findings.warn(
        tr(
            "{file}: columns {names} may each be the {role}, so none is used. To use one, "
            "give --column '{role}={name}'.",
            file=table.file,
            names=names,
            role=role,
            name=first.name,
        )
    )
    return None


def _names(table: RecordTable, headers: list[Header]) -> list[ColumnUse]:
    """Columns that hold one name all the way down: of the field, the product and the like."""
    found = []
    for role, pattern in NAMED_ROLES.items():
        for header in headers:
            if pattern.fullmatch(header.full) and not table.holds_numbers(header.name):
                if pc.count_distinct(table.text(header.name)).as_py() == 1:
                    found.append(ColumnUse(role, "", header.name, None, asked=False))
                break
    return found


def _target(table: RecordTable, headers: list[Header]) -> list[ColumnUse]:
    """The column of the rate that was wanted, where it is the same all the way down."""
    for header in headers:
        words = {*header.words, *header.meant}
        unit = header.unit(Dimension.MASS_PER_AREA)
        if unit is None or not (words & _WANTED and words & {"rate", "rt"}):
            continue
        try:
            values = table.numbers(header.name, "target", Findings())
        except InputError:
            continue  # nobody asked for it
        known = np.unique(values[np.isfinite(values) & (values > 0)])
        if len(known) == 1:
            return [ColumnUse("target", "", header.name, unit, asked=False)]
    return []


def _date_parts(headers: list[Header], uses: list[ColumnUse]) -> list[ColumnUse]:
    """Columns of year, month and day, and of hour, minute and second, where no other tells it."""
    taken = {use.column for use in uses if use.role not in ("interval", "date")}
    named = {h.full: h.name for h in reversed(headers) if h.name not in taken}
    has = {use.role for use in uses}
    parts: list[ColumnUse] = []
    for whole, pieces in (("date", DATE_PARTS), ("time", CLOCK_PARTS)):
        spelled = [next((named[n] for n in names if n in named), None) for names in pieces.values()]
        if whole not in has and all(spelled[: 2 if whole == "time" else 3]):
            parts += [
                ColumnUse(role, "", column, None, asked=False)
                for role, column in zip(pieces, spelled, strict=True)
                if column
            ]
    return parts


def tells_lifting(header: Header) -> bool:
    """Whether a column tells by its name when the tool is up, and not when it is at work."""
    return any(re.search(_LIFTING, name) for name in (*header.spellings, header.full))


def log_rank(names: Sequence[str]) -> int:
    """Tell by its column names how well something is a log: 2 with times, 1 with measures, else 0.

    Positions are not asked for: a map has them outside its columns.
    """
    headers = [read_header(name) for name in names]

    def has(*roles: str) -> bool:
        return any(_best_matches(r, headers, meant=m) for r in roles for m in (False, True))

    if has("start", "interval", "time"):
        return 2
    measured = has(*_MEASURED)
    words = [{*header.words, *header.meant} for header in headers]
    sure = {word for words in _SURE_WORDS.values() for word in words}
    return int(measured or any(own & sure and not own & _NOT_LOGGED for own in words))


def _asked_use(table: RecordTable, role: str, text: str) -> ColumnUse:
    name, _, key = role.partition(":")
    known = {r.partition(":")[0] for r in ROLES}
    if name not in known or (key and name not in (*AMOUNTS, "section", "row")):
        raise InputError.at(
            "columns",
            role,
            tr("this is not a role a column can have."),
            tr("Use {names}.", names=", ".join(ROLES)),
        )
    if name in ("section", "row") and not re.fullmatch("[1-9][0-9]{0,3}", key):
        raise InputError.at(
            "columns",
            role,
            tr("the number is missing."),
            tr("Write {name}:1 for the one at the left.", name=name),
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
                tr(
                    '"{unit_text}" is not a unit of {dimension}.',
                    unit_text=unit_text,
                    dimension=dimension,
                ),
                tr(
                    "Write a unit of {dimension}, such as [{example_unit}].",
                    dimension=dimension,
                    example_unit=example_unit(dimension),
                ),
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
    if name.isdecimal() and 0 < int(name) <= len(table.names):
        return table.names[int(name) - 1], unit
    cut = [c for c in table.names if len(c) == CUT_LENGTH and name.lower().startswith(c.lower())]
    if len(cut) == 1:
        return cut[0], unit
    meant_so = did_you_mean(bare[1] if bare else text, table.names)
    raise table.error(
        tr("columns, {role}", role=role),
        f'there is no column "{text}". {meant_so}'.rstrip(),
        tr("The file has {listing}.", listing=table.listing),
    )


def _guessed_use(role: str, key: str, header: Header, findings: Findings, file: str) -> ColumnUse:
    dimension = DIMENSIONS.get(role)
    unit = header.unit(dimension) if dimension else None
    meaning = f"{role} of {key}" if key else role
    findings.note(
        tr(
            '{file}: column "{name}" taken as {meaning} because of its name.',
            file=file,
            name=header.name,
            meaning=meaning,
        )
    )
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
                tr(
                    '{file}: columns "{name}" to "{name_2}" taken as the states of {count} '
                    "{role}s from the left because of their names.",
                    file=file,
                    name=numbered[first].name,
                    name_2=numbered[first + count - 1].name,
                    count=count,
                    role=role,
                )
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
        own = {*header.words, *header.meant}
        if not own & words or own & (_NOT_LOGGED | _FOREIGN.get(role, set())):
            continue
        if header.unit(dimension) is not None:
            found.append((header.remainder(words), header))
        elif own & _SURE_WORDS[role] and not _has_other_unit(header):
            _ask_for_unit(role, header, findings, file)
    if len(found) == 1:
        found = [("", found[0][1])]
    if not found:
        # "18-46-0 (lb/ac)": no word says rate, but the unit does and the rest is the product.
        found = [
            (header.remainder(words), header)
            for header in headers
            if header.unit_text
            and header.unit(dimension) is not None
            and not {*header.words, *header.meant} & _NOT_LOGGED
        ]
    return [_guessed_use(role, key, header, findings, file) for key, header in found]


def _ask_for_unit(role: str, header: Header, findings: Findings, file: str) -> None:
    dimension, stated = DIMENSIONS[role], header.stated_unit
    if stated:
        what, remedy = other_unit(header.name, stated, role)
        findings.warn(
            tr(
                '{file}: column "{name}" looks like a {role}; {what} {remedy}',
                file=file,
                name=header.name,
                role=role,
                what=what,
                remedy=remedy,
            )
        )
        return
    findings.warn(
        tr(
            '{file}: column "{name}" looks like a {role} but has no unit of {dimension}, so '
            "it is not used. To use it, give --column '{role}={name} [{example_unit}]'.",
            file=file,
            name=header.name,
            role=role,
            dimension=dimension,
            example_unit=example_unit(dimension),
        )
    )


def other_unit(column: str, stated: str, role: str) -> tuple[str, str]:
    """What is wrong with the unit a column states, and a remedy: never another in its place."""
    if AMBIGUOUS.search(stated):
        ton, tonne = (AMBIGUOUS.sub(clear, stated) for clear in ("ton", "tonne"))
        return (
            tr('its unit "{stated}" can be read two ways, so it is not used.', stated=stated),
            tr(
                "Give --column '{role}={column} [{ton}]' (2000 lb) or [{tonne}] (1000 kg).",
                role=role,
                column=column,
                ton=ton,
                tonne=tonne,
            ),
        )
    return (
        tr(
            'its unit "{stated}" is none of {dimensions} known here, so it is not used.',
            stated=stated,
            dimensions=DIMENSIONS[role],
        ),
        tr("To use it, add a column with its numbers turned into one."),
    )


def _ask_for_amounts(headers: list[Header], findings: Findings, file: str) -> None:
    """Ask about columns that are amounts as like as not, where no other is one."""
    for role, words in _LIKELY.items():
        for header in headers:
            own = {*header.words, *header.meant}
            if own & words and not own & _NOT_LOGGED and (role == "rate" or len(own) == 1):
                _ask_for_unit(role, header, findings, file)


def _has_other_unit(header: Header) -> bool:
    """Tell whether a column is a rate or a flow of the other kind."""
    return any(
        header.unit(d) is not None for d in (Dimension.MASS_PER_AREA, Dimension.MASS_PER_TIME)
    )
