"""Rows of a file as they are typed, read as an audit reads them, and kept.

A file that was given is never written over: what is typed goes, with all else that stands in it,
into a file of its own below ``typed/``, which the season then names; so earlier versions of the
season name the earlier files.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException

from evenacre.desk import forms
from evenacre.desk.bring import free_place
from evenacre.desk.drawn_files import settle
from evenacre.desk.farm import Farm
from evenacre.desk.season_pages import season_as_read
from evenacre.desk.sheets import SHEETS, Column, Reading, Sheet, plan_of
from evenacre.desk.work import at_the_drill
from evenacre.errors import ChangedElsewhereError, InputError
from evenacre.io.result_folder.whole_file import write_whole
from evenacre.io.season.edit import change_season
from evenacre.io.season.load import draft_jobs
from evenacre.io.settings_book.book import replace_book
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.rewrite_table import WrittenTable, new_table, written_table
from evenacre.io.untrusted.files import read_whole
from evenacre.workflows.called import OF_THE_TERMINAL

if TYPE_CHECKING:
    from evenacre.io.season.build import SeasonDraft

MOST_ROWS = 100
"""So many rows of a file are shown, the last; those before them are kept as they are."""
ALL = "rows"
_MOST_TYPED = 2000
_LINE = re.compile(r"\bline ([\d,]+)")
_COLUMN = re.compile(r'column "(.*)"')


@dataclass(frozen=True)
class Row:
    """A row as it stands in the form.

    Attributes
    ----------
    name : str
        What the names of its boxes begin with.
    record : int or None
        Which record of the file it is; None of a new one.
    cells : mapping of str to str
        By what they hold.
    """

    name: str
    record: int | None
    cells: Mapping[str, str]


@dataclass(frozen=True)
class OpenSheet:
    """A file of rows, and the table of the season that names it or is to name it.

    Attributes
    ----------
    sheet : Sheet
    farm : Farm
    number, at : int
        Of the table among its kind, and of the file among those that it names.
    raw : mapping
        The season.
    files : tuple of str
        All that the table names.
    table : WrittenTable
    digest : str
        Of the file; empty where there is none.
    """

    sheet: Sheet
    farm: Farm
    number: int
    at: int
    raw: Mapping[str, Any]
    files: tuple[str, ...]
    table: WrittenTable
    digest: str

    @property
    def of(self) -> Mapping[str, Any]:
        """The table of the season."""
        return forms.tables_of(self.raw, self.sheet.kind)[self.number]

    @property
    def whose(self) -> str:
        """What the table is called."""
        return whose(self.of, self.sheet, self.number)

    @property
    def file(self) -> str:
        """The file as the season names it; empty where it names none yet."""
        return self.files[self.at] if self.at < len(self.files) else ""

    def help_of(self, column: Column) -> str:
        """What goes into a column, and in which unit a bare number is."""
        unit = read_header(self.places[column.name]).unit_text if column.units else ""
        return f"{column.help} Without one it is in {unit}." if unit else column.help

    @property
    def places(self) -> dict[str, str]:
        """Columns of the file, those it lacks as they would be called, by what they hold."""
        return self.sheet.heads(self.raw) | self.sheet.columns_in(self.table.names)

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """Columns that are shown."""
        there = self.sheet.columns_in(self.table.names)
        is_shared = len(self.sharers) > 1
        own = ("field", "operation")
        return tuple(
            one
            for one in self.sheet.columns
            if one.asked or one.name in there or (is_shared and one.name in own)
        )

    @cached_property
    def defaults(self) -> dict[str, str]:
        """What stands in a new row at first."""
        own = {"field": str(self.of.get("field", "")), "operation": str(self.of.get("name", ""))}
        shown = {one.name for one in self.columns}
        return {name: text for name, text in own.items() if name in shown}

    @cached_property
    def sharers(self) -> list[int]:
        """Numbers of all tables that name the file, this one too."""
        tables = forms.tables_of(self.raw, self.sheet.kind)
        named = [n for n, one in enumerate(tables) if self.file in files_named(one, self.sheet)]
        return sorted({self.number, *(named if self.file else [])})

    @cached_property
    def rows(self) -> list[Row]:
        """Rows that are shown: of this table or of nobody, the last of them."""
        places = self.sheet.columns_in(self.table.names)
        at = {what: self.table.names.index(name) for what, name in places.items()}
        found = [
            Row(f"r{number}", number, {what: one.cells[n].strip() for what, n in at.items()})
            for number, one in enumerate(self.table.records)
            if any(cell.strip() for cell in one.cells)
        ]
        own = [
            row
            for row in found
            if all(row.cells.get(what, "") in ("", text) for what, text in self.defaults.items())
        ]
        return own[-MOST_ROWS:]

    @property
    def kept_as_they_are(self) -> int:
        """How many records of the file are not shown."""
        return len(self.table.records) - len(self.rows)

    def readers(self, rows: Sequence[Row]) -> list[int]:
        """Numbers of tables that have a say in rows: this one, and those that they may be of."""
        tables = forms.tables_of(self.raw, self.sheet.kind)
        told = {(row.cells.get("field", ""), row.cells.get("operation", "")) for row in rows}

        def has_a_say(table: Mapping[str, Any]) -> bool:
            names = (str(table.get("field")), str(table.get("name")))
            return any(f in ("", names[0]) and o in ("", names[1]) for f, o in told)

        return [n for n in self.sharers if n == self.number or has_a_say(tables[n])]

    def offers(self, draft: SeasonDraft | None) -> dict[str, tuple[str, ...]]:
        """Texts that are offered, by kind."""

        def names(key: str) -> tuple[str, ...]:
            tables = forms.tables_of(self.raw, forms.KINDS[key])
            return tuple(dict.fromkeys(str(one["name"]) for one in tables if one.get("name")))

        plan = plan_of(draft, self.of)
        placed = [one.product.name for one in plan.applications] if plan else []
        bins = [one.name for one in plan.implement.compartments] if plan else []
        return {
            "product": tuple(placed) or names("product"),
            "compartment": tuple(bins),
            "field": names("field"),
            "operation": names("operation"),
            "weighed_by": ("truck scale 20 lb", "load cell", "bags", "estimate"),
        }


def whose(table: Mapping[str, Any], sheet: Sheet, number: int) -> str:
    """What a table of the season that names files is called."""
    if sheet.kind.key != "operation":
        return sheet.kind.title
    return ", ".join(
        str(table[key]).strip() for key in ("field", "name", "date") if table.get(key)
    ) or forms.name_of(table, sheet.kind, number)


def files_named(table: Mapping[str, Any], sheet: Sheet) -> tuple[str, ...]:
    """Files of rows that a table of the season names, or the one that there is."""
    if sheet.fixed:
        return (sheet.fixed,)
    held = table.get(sheet.key)
    return tuple(map(str, held)) if isinstance(held, list) else (str(held),) if held else ()


def open_sheet(farm: Farm, key: str, number: str, at: str) -> OpenSheet:
    """Open the file of an address.

    Raises
    ------
    HTTPException
        When there is no such table of the season.
    InputError
        When the file is no table, or lies outside the farm's folder.
    """
    sheet = SHEETS.get(key)
    raw, _ = season_as_read(farm)
    numbers = [int(n) if re.fullmatch(r"[0-9]{1,5}", n) else -1 for n in (number, at)]
    if sheet is None or not 0 <= numbers[0] < len(forms.tables_of(raw, sheet.kind)):
        raise HTTPException(404)
    files = files_named(forms.tables_of(raw, sheet.kind)[numbers[0]], sheet)
    if not 0 <= numbers[1] <= (len(files) if sheet.key == "blockages" else 0):
        raise HTTPException(404)
    heads = sheet.heads(raw)
    table, digest = new_table([heads[one.name] for one in sheet.columns if one.asked]), ""
    name = files[numbers[1]] if numbers[1] < len(files) else ""
    path = farm.root / name
    if name and not farm.holds(path):
        raise InputError.at(name, "", "It lies in no folder of the farm.", "Bring it first.")
    if name and path.is_file():
        content = read_whole(path, path.name)
        digest = hashlib.sha256(content).hexdigest()
        table = written_table(content, path.name)
    return OpenSheet(sheet, farm, numbers[0], numbers[1], raw, files, table, digest)


def rows_typed(given: forms.Given, opened: OpenSheet) -> list[Row]:
    """Rows that a form says, in its order; empty ones are none."""
    known = {one.name for one in opened.columns}
    shown = {row.record for row in opened.rows}
    found: dict[str, dict[str, str]] = {}
    for name, text in given.items():
        row, _, what = name.partition(".")
        if re.fullmatch(r"r[0-9]{1,6}", row) and what in {*known, "record"}:
            found.setdefault(row, {})[what] = " ".join(text.split())
    rows = []
    for name, cells in list(found.items())[:_MOST_TYPED]:
        told = cells.pop("record", "")
        record = int(told) if re.fullmatch(r"[0-9]{1,9}", told) else None
        record = record if record in shown else None
        if any(text and text != opened.defaults.get(what) for what, text in cells.items()):
            rows.append(Row(name, record, cells))
    return rows


@dataclass
class Judged:
    """What is to be said of rows as they were typed.

    Attributes
    ----------
    content : bytes
        Of the file that they make; empty where no row is left.
    wrong : dict of str to str
        What has to be mended, by the box or row that it concerns.
    others : list of str
        What has to be mended and concerns none.
    looks : dict of str to str
        What is to be looked at, by row; under `ALL` what concerns none.
    told : list of str
        What they come to.
    """

    content: bytes = b""
    wrong: dict[str, str] = field(default_factory=dict)
    others: list[str] = field(default_factory=list)
    looks: dict[str, str] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)


def judge(opened: OpenSheet, rows: Sequence[Row], draft: SeasonDraft | None) -> Judged:
    """Make the file that rows say, and have it read as an audit would."""
    places = opened.places
    stays = {row.record: row for row in rows if row.record is not None}
    changes: dict[int, dict[str, str] | None] = {
        row.record: {places[what]: text for what, text in stays[row.record].cells.items()}
        if row.record in stays
        else None
        for row in opened.rows
        if row.record is not None
    }
    fresh = [row for row in rows if row.record is None]
    added = [{places[what]: text for what, text in row.cells.items()} for row in fresh]
    if not (rows or opened.kept_as_they_are):
        return Judged()
    text, lines, added_lines = opened.table.with_changes(changes, added)
    is_plain = text.isascii() and not opened.table.marked
    told = Judged(text.encode("utf-8" if is_plain else "utf-8-sig"))
    at = {lines[number]: row for number, row in stays.items()}
    at |= dict(zip(added_lines, fresh, strict=True))
    number_of = {row.name: number for number, row in enumerate(rows, 1)}
    name = Path(opened.file).name or f"{opened.sheet.key}.csv"
    by_place = {place: what for what, place in places.items()}
    shown = {one.name for one in opened.columns}

    def row_in(place: str) -> Row | None:
        found = _LINE.search(place)
        return at.get(int(found[1].replace(",", ""))) if found else None

    def in_rows(said: str) -> str:
        def numbered(found: re.Match[str]) -> str:
            row = row_in(found[0])
            return found[0] if row is None else f"row {number_of[row.name]}"

        return re.sub(rf"{re.escape(name)}, line [\d,]+", numbered, OF_THE_TERMINAL.sub("", said))

    for reading in _readings(opened, rows, draft, name, told.content):
        for given in reading.problems:
            problem = at_the_drill(given)
            row, column = row_in(problem.place), _COLUMN.search(problem.place)
            what = (
                str(problem.keys[0]) if problem.keys else by_place.get(column[1] if column else "")
            )
            says = in_rows(f"{problem.what} {problem.remedy}")
            if row is None:
                told.others.append(in_rows(str(problem)))
            else:
                told.wrong.setdefault(f"{row.name}.{what}" if what in shown else row.name, says)
        for said in reading.looks:
            place, _, rest = said.partition(": ")
            row = row_in(place) if place.startswith(f"{name}, line") else None
            key, says = (ALL, in_rows(said)) if row is None else (row.name, in_rows(rest))
            if says not in told.looks.get(key, ""):
                told.looks[key] = f"{told.looks.get(key, '')} {says}".strip()
        told.told += reading.told
    told.others = list(dict.fromkeys(told.others))
    return told


def _readings(
    opened: OpenSheet, rows: Sequence[Row], draft: SeasonDraft | None, name: str, content: bytes
) -> Iterator[Reading]:
    """What the file is to each table that names it and has rows among those that are shown."""
    tables = forms.tables_of(opened.raw, opened.sheet.kind)
    with TemporaryDirectory(dir=opened.farm.state) as folder:
        path = Path(folder, name)
        path.write_bytes(content)
        for number in opened.readers(rows):
            try:
                reading = opened.sheet.read(path, draft, tables[number])
            except InputError as error:
                reading = Reading([*error.problems])
            yield reading if number == opened.number else replace(reading, told=[])


def draft_of(opened: OpenSheet, rows: Sequence[Row]) -> SeasonDraft | None:
    """The jobs that rows may be of, as readers need them; None of rows that are of no job."""
    if opened.sheet.kind.key != "operation":
        return None
    return draft_jobs(opened.farm.season, opened.raw, opened.readers(rows))


def keep(opened: OpenSheet, told: Judged, given: forms.Given) -> None:
    """Write a file of rows, and let the season name it.

    Raises
    ------
    ChangedElsewhereError
        When the file or the season was changed since the page was opened; nothing is kept then.
    InputError
        When the address leads to another job by now, or nothing can be written.
    """
    farm, sheet = opened.farm, opened.sheet
    if sheet.fixed:
        replace_book(farm.root / sheet.fixed, given.get("of", ""), told.content, farm.books)
        return
    if given.get("of", "") != opened.digest:
        what = "The file was changed elsewhere since this page was opened."
        remedy = "Look at the rows again; nothing was written."
        raise ChangedElsewhereError.at(opened.file, "", what, remedy)
    path: Path | None = None
    name = None
    if told.content:
        if hashlib.sha256(told.content).hexdigest() == opened.digest:
            return
        stem = Path(opened.file).stem or f"{opened.whose} {sheet.title.lower()}"
        if (farm.root / opened.file).parent == farm.typed:
            stem = re.sub(r" \d+$", "", stem)  # which one it is
        farm.typed.mkdir(exist_ok=True)
        path = free_place(farm.typed, stem, ".csv", sheet.key)
        write_whole(path, told.content)
        name = path.relative_to(farm.root).as_posix()
    try:
        change_season(
            farm.season, given.get("seen", ""), lambda doc: _put(opened, doc, name), farm.versions
        )
    except BaseException:
        if path is not None:
            path.unlink(missing_ok=True)
        raise
    settle(farm, farm.typed, [path] if path else [])


def _put(opened: OpenSheet, document: Any, name: str | None) -> None:
    """Let every table that names the file name another, or none."""
    kind, key = opened.sheet.kind, opened.sheet.key
    for number in opened.sharers:
        table = dict(forms.tables_of(opened.raw, kind)[number])
        held = [one for one in files_named(table, opened.sheet) if one != opened.file]
        files = [*held[: opened.at], *([name] if name else []), *held[opened.at :]]
        if files:
            table[key] = files if isinstance(table.get(key), list) or len(files) > 1 else files[0]
        else:
            table.pop(key, None)
        forms.put_table(kind, table, document, number)


def with_those_of_now(opened: OpenSheet, rows: Sequence[Row]) -> list[Row]:
    """Rows of a file that was changed meanwhile, and below them what was typed and is not there."""

    def says(row: Row) -> dict[str, str]:
        return {what: text for what, text in row.cells.items() if text}

    own = opened.rows
    there = [says(row) for row in own]
    last = max((int(row.name[1:]) for row in (*own, *rows)), default=-1)
    return own + [
        Row(f"r{last + number}", None, row.cells)
        for number, row in enumerate((one for one in rows if says(one) not in there), 1)
    ]
