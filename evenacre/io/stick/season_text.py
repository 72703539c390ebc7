"""Write what was gathered as a season file, or into the one that is there."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import os
import re
import textwrap
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

import shapely
import tomlkit
from shapely.geometry.base import BaseGeometry
from tomlkit.exceptions import TOMLKitError

from evenacre.errors import InputError
from evenacre.io.stick.drives import LeftOut
from evenacre.io.stick.files import StickFile, digest
from evenacre.io.stick.ground import Layer, Outline, Plot
from evenacre.io.stick.jobs import Job, Machine
from evenacre.io.stick.known import KnownSeason
from evenacre.model import Implement
from evenacre.model.product import analysis_in_name
from evenacre.shown_text import shortened, shown
from evenacre.units.display import US, in_both

FOLDER = "gathered"
"""Beside the season: copies of what lies in zips, and outlines that only task data holds."""

_HEAD = """\
# Gathered by `evenacre gather`. What follows a # says what was guessed, and why: change what you
# know better. Run it again when there are more files: it adds them and keeps what you changed.
"""
_FIRST, _LAST = "# To fill in:\n", "# (That is all there is to fill in.)\n"
_BLOCK = re.compile(re.escape(_FIRST) + r"(?:#[^\n]*\n)*?" + re.escape(_LAST) + r"\n?")
_SAID_OF_SEEN = (
    "# What `evenacre gather` has seen: it is not gathered again, whatever became of it.\n"
)
_SEEN = re.compile(
    rf"\n*(?:^{re.escape(_SAID_OF_SEEN)})?^\[gathered\][ \t]*(?:\n|\Z)"
    r'(?:"(?:[^"\\\n]|\\.)*" = "[0-9a-f]{16}"(?:\n|\Z))*',
    re.MULTILINE,
)
_KEY_AND_VALUE = re.compile(r'\w+ = (?:\[.*?\]|\{.*?\}|"[^"]*")')
_HELD = "\0"  # a space where no line may end
_HEADER = re.compile(
    r"""^[ \t]*\[\[?[ \t]*((?:[\w.-]|"[^"\n]*"|'[^'\n]*')+)[ \t]*\]\]?[ \t]*(?:#.*)?$""",
    re.MULTILINE,
)
_TOP = ("farm", "units", "currency", "time_zone")
_MEASURES = (
    *("axle_to_antenna_m", "antenna_ahead_m", "antenna_left_m", "tool_behind_m"),
    "product_lag_s",
)


_TO_MEASURE = (
    "# Measure these with a tape, unless the log is of the tool itself; without them the log is",
    "# asked (see what it tells: evenacre measure).",
    '# axle_to_antenna = "2 ft"  # antenna ahead of the tractor\'s rear axle',
    '# antenna_ahead = "6 ft"  # of the hitch pin',
    '# antenna_left = "2 in"  # of the middle',
    '# tow = [ { hitch_to_axle = "16.5 ft" } ]',
    '# tool_behind = "3 ft"  # openers behind the last axle',
    '# delay = "1.5 s"  # from the meter to the opener',
)


@dataclass(frozen=True)
class Borrowed:
    """A season file elsewhere on the stick, whose drills and products are taken over."""

    name: str
    raw: Mapping[str, Any]
    implements: Mapping[str, Implement]


@dataclass(frozen=True)
class Question:
    """What somebody has to fill in.

    Attributes
    ----------
    asks : str
        What is not known, and what the logs tell of it.
    how : str
        How to write it into the file.
    about : tuple of str
        What it is about: ``("width", IMPLEMENT)``, ``("rows", IMPLEMENT)``,
        ``("rows_per_tower", IMPLEMENT)``, ``("setbacks", FIELD)``, ``("rate", PRODUCT)``,
        ``("kind", PRODUCT)`` or ``("products", "")``, of every job without any; empty where no
        key is the answer.
    example : str
        A value that would be understood.
    source : dict
        The map that setbacks are from, as the season file names it.
    """

    asks: str
    how: str = ""
    about: tuple[str, ...] = ()
    example: str = ""
    source: Mapping[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        return f"{self.asks} {self.how}".rstrip()


@dataclass
class SeasonText:
    """A season file in the making.

    Attributes
    ----------
    copies : dict of str to StickFile
        What has to be copied, by its place beside the season.
    drawn : dict of str to str
        Maps that have to be written there (GeoJSON), by their place.
    added : list of str
        Sentences about what is new.
    hints : dict of tuple to str
        What the logs tell of that which has to be asked for, by kind and names.
    questions : list of Question
        What has to be filled in, once the text is written.
    """

    known: KnownSeason
    borrowed: Sequence[Borrowed]
    copies: dict[str, StickFile] = field(default_factory=dict)
    drawn: dict[str, str] = field(default_factory=dict)
    added: list[str] = field(default_factory=list)
    hints: dict[tuple[str, ...], str] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    _setbacks: dict[str, dict[str, str]] = field(default_factory=dict)  # maps, by field
    _new: dict[str, list[str]] = field(default_factory=dict)  # tables by kind
    _implements: dict[str, Machine | Implement | None] = field(default_factory=dict)
    _products: set[str] = field(default_factory=set)
    _exchanged: set[Path] = field(default_factory=set)
    _fields: dict[int, str] = field(default_factory=dict)  # name by id of the plot

    def __post_init__(self) -> None:
        self._body = _SEEN.sub("\n", self.known.text)
        for table in self.known.tables("implement"):
            name = str(table.get("name", ""))
            self._implements[name] = self.known.implements.get(name)

    # Fields

    def field(self, plot: Plot) -> str:
        """Write a field unless it is there, and return its name."""
        if id(plot) not in self._fields:
            self._fields[id(plot)] = self._field(plot)
        return self._fields[id(plot)]

    def _field(self, plot: Plot) -> str:
        there = {str(t.get("name")): t for t in self.known.tables("field")}
        if plot.outline is not None and plot.outline.key:
            return plot.outline.key
        if plot.name in there and not self._is_other(plot):
            if plot.outline is not None and "boundary" not in there[plot.name]:
                source = self._source(plot.outline)
                self._edit(
                    "field",
                    list(there).index(plot.name),
                    lambda table: table.add("boundary", _item(source)),
                )
                self.added.append(f'"{plot.name}" has its boundary now, from {source}.')
            return plot.name
        taken = {*there, *self._fields.values()}
        name = _free(plot.name, taken.__contains__)
        lines = ["[[field]]", f"name = {quoted(name)}"]
        if plot.outline is None:
            lines.append(
                "# No boundary of it was found: one is drawn round the work, and skips at its edge "
                "cannot be judged."
            )
        else:
            layer = plot.outline.layer
            why = _because(layer) if layer and layer.why else "  # the work lies in it"
            lines.append(f"boundary = {self._source(plot.outline)}{why}")
        if plot.unworkable is not None:
            lines.append(f"unworkable = {self._layer(plot.unworkable)}{_because(plot.unworkable)}")
        if plot.planned is not None:
            zones, why = plot.planned
            shapes = zip(zones["zone"], zones.geometry, strict=True)
            lines.append(f"zones = {self._draw(f'{plot.name} zones', shapes)}  # {_plain(why)}")
        elif plot.zones is not None:
            column = plot.zones.column
            more = {"name_column": column} if column else {}
            lines.append(f"zones = {self._layer(plot.zones, **more)}{_because(plot.zones)}")
        if plot.setbacks is not None:
            near = self._layer(plot.setbacks, distance="100 ft")
            self._setbacks[name] = self._keys(plot.setbacks)
            lines.append(f"# setbacks = {near}{_because(plot.setbacks)}")
            self.hints["setbacks", name] = plot.setbacks.name
        self._new.setdefault("field", []).append("\n".join(lines))
        self.added.append(f'Field "{name}".')
        return name

    def _is_other(self, plot: Plot) -> bool:
        """Whether a field of the same name is another one."""
        return plot.outline is not None and any(
            f.name == plot.name and f.boundary is not None
            for f in (self.known.draft.season.fields if self.known.draft else ())
        )

    def _source(self, outline: Outline) -> str:
        if outline.layer is None:
            return self._draw(outline.name, [(outline.name, outline.shape)])
        more: dict[str, Any] = {"where": outline.where} if outline.where else {}
        return self._layer(outline.layer, **more)

    def _draw(self, name: str, shapes: Iterable[tuple[str, BaseGeometry]]) -> str:
        """Have named shapes drawn in a map beside the season, where no other one is."""
        slug = re.sub(r"[^\w-]+", "-", name.lower()).strip("-") or "field"
        text, suffix = _geojson(shapes), ".geojson"
        place = _free(f"{FOLDER}/{slug}", lambda p: self._is_taken(p + suffix, text), "-") + suffix
        self.drawn[place] = text
        return quoted(place)

    def _is_taken(self, place: str, text: str) -> bool:
        """Whether something else is, or will be, drawn in a place."""
        file = self.known.path.parent / place
        if place in self.drawn:
            return self.drawn[place] != text
        return file.exists() and file.read_bytes() != text.encode()

    def _layer(self, layer: Layer, **more: Any) -> str:
        return _inline({**self._keys(layer), **more})

    def _keys(self, layer: Layer) -> dict[str, str]:
        named = {"layer": layer.layer} if layer.layer else {}
        return {"file": self.place(layer.file), **named}

    # Implements

    def implement(self, job: Job) -> str:
        """Write the implement of a job unless one that is there may be it; its name."""
        machine = job.machine
        if not any(self._implements.values()) and not self._new.get("implement"):
            for other in self.borrowed:
                for name, measures in other.implements.items():
                    if name not in self._implements:
                        self._implements[name] = measures
                        self._borrow(other, "implement", name)
        fitting = [n for n, one in self._implements.items() if _fits(machine, one)]
        if machine.name in fitting:
            job.remarks["implement"] = "as the log calls it"
            return machine.name
        if fitting:
            if len(fitting) > 1:
                job.remarks["implement"] = f"{_or(fitting)} may have done it; the first was taken"
            elif len(self._implements) > 1:
                job.remarks["implement"] = "the only one that fits what the log tells"
            elif not (machine.width_m or machine.rows or machine.sections):
                job.remarks["implement"] = "the log tells nothing of it; there is but this one"
            return fitting[0]
        name = _free(machine.name or "drill", self._implements.__contains__)
        self._implements[name] = machine
        lines = ["[[implement]]", f"name = {quoted(name)}"]
        if machine.name:
            lines[-1] += "  # as the log calls it"
        if machine.width_m:
            width = in_both("length", machine.width_m)
            told = "the device" if machine.described else "the log"
            source = _plain(machine.source)
            lines.append(
                f'width = "{machine.width_m:.6g} m"  # {width}, as {told} tells ({source})'
            )
        rows, sections = machine.rows, machine.sections
        described = machine.described
        if described is not None and described.section_rows:
            equal = len(set(described.section_rows)) == 1
            rows_of = list(described.section_rows)
            lines.append(
                f"sections = {len(rows_of)}"
                if equal
                else f"sections = {rows_of}  # by their widths"
            )
        elif rows:
            lines.append(f"rows = {rows}  # states of so many are logged")
        if described is not None:
            for key in _MEASURES:
                value = getattr(described, key)
                unit = key.rpartition("_")[2]
                name_of = "delay" if key == "product_lag_s" else key.rpartition("_")[0]
                if value:
                    lines.append(f'{name_of} = "{value:.6g} {unit}"')
            units = [
                _inline(
                    {
                        "hitch_to_axle": f"{unit.hitch_to_axle_m:.6g} m",
                        **(
                            {"axle_to_pin": f"{unit.axle_to_pin_m:.6g} m"}
                            if unit.axle_to_pin_m
                            else {}
                        ),
                    }
                )
                for unit in described.tow
            ]
            if units:
                lines.append(f"tow = [ {', '.join(units)} ]")
        elif sections:
            lines.append(f"# {sections} sections are logged.")
        if described is None or not described.told:
            lines += _TO_MEASURE
        self._new.setdefault("implement", []).append("\n".join(lines))
        self.added.append(f'Implement "{name}".')
        return name

    # Products

    def product(self, name: str) -> None:
        """Write a product unless it is there, as another season of the stick has it if one does."""
        there = {str(t.get("name")) for t in self.known.tables("product")}
        if name in there or name in self._products:
            return
        self._products.add(name)
        for other in self.borrowed:
            table = _entry(other.raw, "product", name)
            if table is not None:
                for part in table.get("parts", {}):
                    self.product(str(part))
                self._borrow(other, "product", name)
                return
        lines = ["[[product]]", f"name = {quoted(name)}"]
        if analysis_in_name(name):
            lines[-1] += "  # the name gives the analysis"
        self._new.setdefault("product", []).append("\n".join(lines))
        self.added.append(f'Product "{name}".')

    def _borrow(self, other: Borrowed, kind: str, name: str) -> None:
        table = _entry(other.raw, kind, name)
        lines = [f"# As in {_plain(other.name)}.", f"[[{kind}]]"]
        lines += [f"{_key(key)} = {_value(value)}" for key, value in table.items()]
        self._new.setdefault(kind, []).append("\n".join(lines))
        self.added.append(f'{kind.capitalize()} "{name}", as in {other.name}.')

    # Operations

    def operation(self, job: Job, left: Sequence[LeftOut]) -> None:
        """Write a job as a new operation."""
        place = self.field(job.plot)
        implement = self.implement(job)
        self._hint(job, place, job.name, implement)
        for product in job.products:
            self.product(product)
        because = {key: f"  # {_plain(why)}" for key, why in job.remarks.items()}
        lines = ["[[operation]]"]
        for piece in job.pieces:
            share = (
                f"{100 * piece.share:.0f} % of its work lies here"
                if job.plot.outline
                else "all of it"
            )
            lines.append(f"# {_plain(piece.drive.name)}: {share}.")
        if len(job.pieces) > 1:
            lines.append("# They are one job: no other product or machine, and no day between.")
        pieces = set(map(id, job.pieces))
        lines += [
            f"# Left out: {_plain(one.piece.drive.name)}, {_plain(one.why)}."
            for one in left
            if id(one.kept) in pieces
        ]
        lines += [
            f"name = {quoted(job.name)}{because.get('name', '')}",
            f"field = {quoted(place)}",
        ]
        if day := job.first_day(self.known.time_zone):
            lines.append(f"date = {day}")
        lines.append(f"implement = {quoted(implement)}{because.get('implement', '')}")
        lines.append("tracks = [")
        lines += [f"  {self._track(piece.drive.file, piece.drive.layer)}," for piece in job.pieces]
        lines.append("]")
        if job.products:
            lines.append(f"products = [{because.get('products', '')}")
            for name, rate in job.products.items():
                use: dict[str, Any] = {"product": name}
                if rate is not None:
                    use["rate"] = f"{US.rate.of(rate):.4g} lb/ac"
                lines.append(f"  {_inline(use)},{because.get(f'rate {name}', '')}")
            lines.append("]")
        for key, files in _tables(job).items():
            places = [self.place(file) for file in files]
            one = quoted(places[0]) if len(places) == 1 else _value(places)
            lines.append(f"{key} = {one}{because.get(key, '')}")
        self._new.setdefault("operation", []).append("\n".join(lines))
        self.added.append(f'Operation "{job.name}" on {place}.')

    def _hint(self, job: Job, place: str, name: str, implement: str) -> None:
        """Keep what the logs tell of that which has to be asked for."""
        for piece in job.pieces:
            for product, value in piece.drive.products.items():
                if value:
                    self.hints["rate", place, name, product] = in_both("rate", value)
        self.hints |= {(what, implement): "" for what in job.stopped}
        if not job.machine.width_m and ("width", implement) not in self.hints:
            apart = max(job.pieces, key=lambda piece: len(piece.x_m)).spacing_m
            if apart is not None:
                self.hints["width", implement] = (
                    f"; its passes lie {in_both('length', apart)} apart"
                )

    def extend(self, job: Job, fresh: Iterable[tuple[StickFile, str | None]]) -> None:
        """Add logs and tables to the operation that a job is of."""
        assert job.known is not None
        there = self.known.tables("operation")[job.known]
        place, name, implement = (str(there.get(key)) for key in ("field", "name", "implement"))
        self._hint(job, place, name, implement)
        called = f'"{name}" on {place}'
        logs = list(fresh)
        tables = [
            (key, file)
            for key, files in _tables(job).items()
            for file in files
            if (key == "blockages" or key not in there) and file.name not in self.known.gathered
        ]

        def change(table: Any) -> None:
            for file, layer in logs:
                _append(table, "tracks", _item(self._track(file, layer)))
            for key, file in tables:
                if key in table:
                    _append(table, key, self.place(file))
                else:
                    table.add(key, self.place(file))

        if logs or tables:
            self._edit("operation", job.known, change)
        self.added += [f"{file.name}, to {called}." for file, _ in logs]
        self.added += [f"{file.name}, as {key} of {called}." for key, file in tables]

    def exchange(self, old: Path, new: StickFile, why: str) -> None:
        """Let every operation that names one log name another, which holds all of it."""

        def is_it(entry: Any) -> bool:
            name = entry.get("file") if isinstance(entry, dict) else entry
            return (self.known.path.parent / str(name)).resolve() == old.resolve()

        def change(table: Any) -> None:
            tracks = table["tracks"]
            for number, entry in enumerate(tracks if isinstance(tracks, list) else []):
                if is_it(entry):
                    tracks[number] = self.place(new)

        if old in self._exchanged:
            return
        self._exchanged.add(old)
        for number, table in enumerate(self.known.tables("operation")):
            tracks = table.get("tracks")
            if isinstance(tracks, list) and any(map(is_it, tracks)):
                self._edit("operation", number, change)
                self.added.append(f"{new.name}, in the place of {old.name}, {why}.")

    def _edit(self, kind: str, number: int, change: Callable[[Any], object]) -> None:
        """Change one table of a list where it stands, and nothing else of the file."""
        heads = list(_HEADER.finditer(self._body))
        starts = [h for h in heads if h[0].strip().startswith("[[") and h[1] == kind]
        try:
            head = starts[number]
            end = next(
                (h.start() for h in heads if h.start() > head.start() and not _is_in(h[1], kind)),
                len(self._body),
            )
            part = tomlkit.parse(self._body[head.start() : end])
            change(part[kind][0])
        except (IndexError, KeyError, TypeError, TOMLKitError, RecursionError) as error:
            raise self._refused(error) from None
        self._body = self._body[: head.start()] + tomlkit.dumps(part) + self._body[end:]

    def _refused(self, error: Exception) -> InputError:
        what = f"What was gathered does not go into it ({error})."
        remedy = "Write its lists of tables with [[ ]], or name another file with --out."
        return InputError.at(self.known.path.name, "", what, remedy)

    def _track(self, file: StickFile, layer: str | None) -> str:
        place = self.place(file)
        return _inline({"file": place, "layer": layer}) if layer else quoted(place)

    def place(self, file: StickFile) -> str:
        """Where a file stands beside the season; what lies in a zip is to be copied there."""
        if file.packed:
            parts = PurePosixPath(file.name).parts
            inner = [re.sub(r"\.zip$", "", part, flags=re.IGNORECASE) for part in parts[:-1]]
            bare = PurePosixPath(FOLDER, *inner, parts[-1])
            for path in (bare, bare.parent / file.sha256[:8] / bare.name):
                there = self.known.path.parent / path
                other = self.copies.get(path.as_posix(), file)
                if other is file and (not there.exists() or digest(there) == file.sha256):
                    break
            self.copies[path.as_posix()] = file
            return path.as_posix()
        try:
            place = os.path.relpath(file.path.absolute(), self.known.path.parent.absolute())
        except ValueError:  # on another disk
            place = str(file.path.absolute())
        return Path(place).as_posix()

    # The whole

    def text(self, seen: Mapping[str, str], idle: Sequence[str], asked: Sequence[str]) -> str:
        """Write it all.

        Parameters
        ----------
        seen : mapping of str to str
            Digest of every file that was looked at, by name.
        idle : sequence of str
            Sentences on outlines where nothing worked.
        asked : sequence of str
            Questions that no key tells of.
        """
        body = self._body.rstrip("\n")
        parts = [body] if body else [self._top()]
        for kind in ("product", "implement", "field", "operation"):
            parts += self._new.get(kind, [])
        if not body and idle:
            parts.append("".join(map(_comment, idle)).rstrip("\n"))
        names = {name: sha[:16] for name, sha in {**self.known.gathered, **seen}.items()}
        lines = [f"{quoted(name)} = {quoted(sha)}" for name, sha in sorted(names.items())]
        parts.append(_SAID_OF_SEEN + "\n".join(["[gathered]", *lines]))
        whole = "\n\n".join(part for part in parts if part) + "\n"
        try:
            raw = tomllib.loads(whole)
        except tomllib.TOMLDecodeError as error:
            raise self._refused(error) from None
        self.questions = [*self._questions(raw), *map(Question, asked)]
        block = ""
        if self.questions:
            listed = "".join(_comment(str(line), "- ") for line in self.questions)
            block = f"{_FIRST}{listed}{_LAST}\n"
        if body and _BLOCK.search(whole):
            return _BLOCK.sub(lambda _found: block, whole, count=1)
        return ("" if body else f"{_HEAD}\n") + block + whole

    def _top(self) -> str:
        lines = []
        for key in _TOP:
            for other in self.borrowed:
                if isinstance(value := other.raw.get(key), str):
                    lines.append(f"{key} = {quoted(value)}  # as in {_plain(other.name)}")
                    break
        if not any(line.startswith("time_zone") for line in lines):
            lines.append(
                '# time_zone = "America/Chicago"  # if times and dates are to be shown in it'
            )
        return "\n".join(lines)

    @property
    def lacks_width(self) -> bool:
        """Whether an audit has to wait for somebody to measure an implement."""
        return any(question.about[:1] == ("width",) for question in self.questions)

    def _questions(self, raw: Mapping[str, Any]) -> list[Question]:
        """What is missing, by the key to fill in; what an audit can do without comes last."""
        asked = [
            Question(
                f'How wide does "{table.get("name")}" work? No log says'
                f"{self.hints.get(('width', str(table.get('name'))), '')}.",
                'Add width = "20 ft" to its [[implement]].',
                ("width", str(table.get("name"))),
                "20 ft",
            )
            for table in raw.get("implement", [])
            if not {"width", "row_spacing"} & table.keys()
        ]
        asked += [
            Question(
                f'How many rows does "{table.get("name")}" have? Some are said to have stopped.',
                "Add rows = 32 to its [[implement]].",
                ("rows", str(table.get("name"))),
                "32",
            )
            for table in raw.get("implement", [])
            if {("rows", str(table.get("name"))), ("towers", str(table.get("name")))}
            & {*self.hints}
            and not {"rows", "row_spacing", "sections"} & table.keys()
        ]
        asked += [
            Question(
                f'How many rows of "{table.get("name")}" does one tower feed? Some towers are '
                "said to have stopped.",
                "Add rows_per_tower = 8 to its [[implement]].",
                ("rows_per_tower", str(table.get("name"))),
                "8",
            )
            for table in raw.get("implement", [])
            if ("towers", str(table.get("name"))) in self.hints and "rows_per_tower" not in table
        ]
        asked += [
            Question(
                f"How far is {names[0]} to be kept from what is in {file}?",
                "Write the distance in its setbacks, and take the # away.",
                ("setbacks", names[0]),
                "100 ft",
                self._setbacks[names[0]],
            )
            for (kind, *names), file in self.hints.items()
            if kind == "setbacks"
        ]
        bare: list[str] = []
        untold: dict[str, list[str]] = {}
        for table in raw.get("operation", []):
            job = f'"{table.get("name")}" on {table.get("field")}'
            uses = table.get("products", [])
            bare += [] if uses else [job]
            for use in uses if isinstance(uses, list) else []:
                if isinstance(use, dict) and not {"rate", "pls_rate"} & use.keys():
                    key = ("rate", str(table.get("field")), str(table.get("name")))
                    meter = self.hints.get((*key, str(use.get("product"))), "")
                    untold.setdefault(str(use.get("product")), []).append(meter)
        if bare:
            example = 'add products = [ { product = "18-46-0", rate = "110 lb/ac" } ].'
            asked.append(
                Question(
                    f"What was placed by {', '.join(bare)}?",
                    f"If you like, {example}",
                    ("products", ""),
                    "18-46-0, 110 lb/ac",
                )
            )
        for name, meters in untold.items():
            ran = list(dict.fromkeys(filter(None, meters)))
            logged = f" The logs ran at {' and '.join(ran[:3])}." if ran else ""
            # An example that could be taken over by mistake is the rate that was logged.
            example = ran[0].partition(" (")[0] if ran else "110 lb/ac"
            asked.append(
                Question(
                    f"What was the target rate of {name}?{logged}",
                    f'If you like, add rate = "{example}" beside the product.',
                    ("rate", name),
                    example,
                )
            )
        asked += [
            Question(
                f'What is in "{table.get("name")}"?',
                'If you like, add analysis = { N = 46 } to its [[product]], or kind = "seed".',
                ("kind", str(table.get("name"))),
                "seed",
            )
            for table in raw.get("product", [])
            if not analysis_in_name(str(table.get("name"))) and set(table) <= {"name", "price"}
        ]
        return asked


def _free(bare: str, is_taken: Callable[[str], bool], mark: str = " ") -> str:
    """A name that is not taken yet, with a number where it has to be."""
    names = itertools.chain([bare], (f"{bare}{mark}{n}" for n in itertools.count(2)))
    return next(name for name in names if not is_taken(name))


def _tables(job: Job) -> dict[str, list[StickFile]]:
    """Tables of a job, by the key that names them."""
    found = {"blockages": job.blockages, "loads": [job.loads] if job.loads is not None else []}
    return {key: files for key, files in found.items() if files}


def _append(table: Any, key: str, value: Any) -> None:
    """Add to a list of a table that is being edited; what stands alone becomes one."""
    if not isinstance(table[key], list):
        alone = tomlkit.array()
        alone.append(table[key])
        table[key] = alone
    table[key].append(value)


def _comment(text: str, mark: str = "") -> str:
    """Write a sentence as lines of comment."""
    whole = _KEY_AND_VALUE.sub(lambda found: found[0].replace(" ", _HELD), _plain(text))
    lines = textwrap.wrap(
        whole,
        98,
        initial_indent=f"# {mark}",
        subsequent_indent=f"# {' ' * len(mark)}",
        break_on_hyphens=False,
    )
    return "\n".join(lines).replace(_HELD, " ") + "\n"


def _is_in(name: str, kind: str) -> bool:
    return name.startswith(f"{kind}.")


def _item(source: str) -> Any:
    """A value written in TOML, for a table that is being edited."""
    return tomlkit.parse(f"x = {source}")["x"]


def _entry(raw: Mapping[str, Any], kind: str, name: str) -> Any:
    """The table of a list that has a name."""
    tables = raw.get(kind, [])
    named = [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
    return next((t for t in named if str(t.get("name")) == name), None)


def _plain(text: str) -> str:
    """Write what stands in a file for a comment: on one line, without control characters."""
    return shown(" ".join(shortened(text).split()))


def _fits(machine: Machine, one: Machine | Implement | None) -> bool:
    """Whether a machine that left its mark in a log may be one that is described."""
    if one is None:
        return not machine.width_m
    if isinstance(one, Implement):
        rows = one.rows if one.rows_known or one.section_rows else 0
        width = one.width_m if one.width_known else None
        one = Machine(width, rows, len(one.section_rows))
    return machine.agrees(one)


def _because(layer: Layer) -> str:
    return f"  # {_plain(layer.why)}" if layer.why else ""


def _or(names: Sequence[str]) -> str:
    return " or ".join(f'"{name}"' for name in names)


def quoted(text: str) -> str:
    """Write a text as TOML does."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else quoted(name)


def _inline(values: Mapping[str, Any]) -> str:
    return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in values.items()) + " }"


def _value(value: Any) -> str:
    """Write what TOML can hold."""
    if isinstance(value, Mapping):
        return _inline(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return repr(value) if isinstance(value, int | float) else quoted(str(value))


def _geojson(shapes: Iterable[tuple[str, BaseGeometry]]) -> str:
    """Write named shapes as a map file."""
    features = [
        {
            "type": "Feature",
            "properties": {"name": name},
            "geometry": json.loads(shapely.to_geojson(shape)),
        }
        for name, shape in shapes
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}) + "\n"
