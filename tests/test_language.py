"""People are answered in their language, with numbers as its country writes them."""

from __future__ import annotations

import ast
import datetime as dt
import importlib.util
import json
import re
import string
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import replace
from gettext import NullTranslations
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.pofile import read_po
from pypdf import PdfReader
from small_farm import write_small_farm
from typer.testing import CliRunner

import evenacre as ev
import evenacre.language as spoken_languages
from evenacre.cli.main import app
from evenacre.io.season.load import load_season
from evenacre.language import Language, date_text, now_spoken, number, spoken, tr
from evenacre.reports.pages.answer import answer_page
from evenacre.reports.writers.typeset import Paper, typeset
from evenacre.units.display import METRIC, US

HERE = Path(__file__).parent.parent
TOOL = HERE / "tools" / "catalogue.py"
CATALOGUE = HERE / "evenacre" / "locale" / "es" / "LC_MESSAGES" / "evenacre.po"


@pytest.fixture(scope="module")
def tool() -> ModuleType:
    if not TOOL.exists():
        pytest.skip("the tool is not part of every archive")
    spec = importlib.util.spec_from_file_location("catalogue", TOOL)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def spanish() -> Catalog:
    with CATALOGUE.open("rb") as lines:
        return read_po(lines)


# Signs of the Unicode CLDR, release 44: es-MX and es-US have a point, es-ES has a comma.
@pytest.mark.parametrize(
    ("tag", "written"),
    [
        ("en", "12,345.6"),
        ("es", "12,345.6"),
        ("es_MX", "12,345.6"),
        ("es_US", "12,345.6"),
        ("es_ES", "12.345,6"),
    ],
)
def test_a_country_says_how_numbers_are_written(tag: str, written: str) -> None:
    with spoken(tag):
        assert number(12345.6, ",.1f") == written
        assert METRIC.mass.text(12345.6, 6) == f"{written} kg"
        assert tr("{first} to {last}", first=1, last=2.5).endswith(number(2.5))


def test_days_are_written_as_is_usual() -> None:
    day = dt.date(2026, 11, 29)
    assert date_text(day) == "Nov 29, 2026"
    with spoken("es_MX"):
        assert date_text(day) == "29 nov 2026"
    told = Path(__file__).parents[1].joinpath("docs/howto/language.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.*?) \| ([\d.,]+) \| (.*?) \|$", told, re.MULTILINE)
    assert len(rows) == 3
    for tags, figure, written in rows:
        for tag in re.findall(r"`(\w+)`", tags):
            with spoken(tag):
                assert (number(12345.6, ",.1f"), date_text(day)) == (figure, written)


def test_a_language_ends_where_it_began() -> None:
    with spoken("es"):
        with spoken("en"):
            assert US.area.text(4046.8564224) == "1.00 ac"
        assert US.area.text(4046.8564224) == "1.00 acres"
    assert now_spoken().tag == "en"


def test_a_language_without_a_catalogue_is_refused() -> None:
    with pytest.raises(ev.InputError, match=r"xx.*en, es"), spoken("xx"):
        pass


def test_the_season_says_the_language_and_an_option_goes_before_it(tmp_path: Path) -> None:
    write_small_farm(tmp_path)
    season = tmp_path / "season.toml"
    season.write_text('language = "es"\n' + season.read_text(encoding="utf-8"), encoding="utf-8")

    def said(*more: str) -> str:
        out = tmp_path / "out"
        ran = CliRunner().invoke(app, ["measure", str(season), "--out", str(out), *more])
        assert ran.exit_code == 0, ran.output
        return ran.stdout

    assert "el registro dice" in said()
    assert "the log tells" in said("--language", "en")
    assert now_spoken().tag == "en"
    assert "el registro dice" in ev.measure(season).lines[0]
    assert "the log tells" in ev.measure(season, language="en").lines[0]


def test_paper_and_pages_tell_their_language() -> None:
    paper = Paper("Farm", "Title", "", [], "")
    with spoken("es_MX"):
        made = typeset(paper, size="a4", made=dt.datetime(2026, 11, 29, tzinfo=dt.UTC))
        page = answer_page([], title="Farm", about="", inputs=())
    assert PdfReader(BytesIO(made)).root_object["/Lang"] == "es-MX"
    assert '<html lang="es-MX">' in page


def test_the_catalogue_has_the_texts_of_the_code(tool: ModuleType, spanish: Catalog) -> None:
    known = {(one.context, one.id) for one in tool.template() if one.id}
    kept = {(one.context, one.id) for one in spanish if one.id}
    assert known == kept, "make catalogue, and translate what is new"
    assert not tool.untranslated(spanish)


def _texts(one: Message) -> Iterator[tuple[str, str]]:
    """Each text with its translation; of plurals, all with that of many."""
    if isinstance(one.id, str):
        yield one.id, str(one.string)
    else:
        yield from ((one.id[1], text) for text in one.string)


def test_translations_hold_the_same_figures(spanish: Catalog) -> None:
    def parts(text: str) -> set[tuple[str | None, str | None]]:
        return {(name, spec) for _, name, spec, _ in string.Formatter().parse(text) if name}

    for one in spanish:
        if not one.id:
            continue
        assert not one.fuzzy, one.id
        assert isinstance(one.id, str) == isinstance(one.string, str), one.id
        for text, translated in _texts(one):
            if "python-brace-format" not in one.flags:
                continue
            missing = parts(text) ^ parts(translated)
            # Of one thing its number may go unsaid.
            assert {name for name, _ in missing} <= ({"count"} if one.pluralizable else set()), (
                text,
                translated,
            )


def test_translations_begin_and_end_as_their_texts(spanish: Catalog) -> None:
    for one in spanish:
        for text, translated in _texts(one) if one.id else ():
            for end in (slice(0, 1), slice(-1, None)):
                assert (text[end] == " ") == (translated[end] == " "), (text, translated)
            assert not set('<>&"') & set(translated) - set(text), (text, translated)


ROOMS = [HERE / "evenacre" / room for room in ("reports", "workflows")]
# What is typed, and what is gathered into a season file, is English.
ENGLISH_ALONE = re.compile(r"workflows/(typed/|gather\.py)")
SAID = {"tr", "trn", "mark", "tr_of", "mark_of"}
# Calls whose texts are looked up elsewhere, or are no text for people.
DECLARING = {
    # Heads, titles and remarks of declared figures: the catalogue has them from the tables.
    *("Table", "Column", "named", "several", "joined", "nested", "json_only", "replace"),
    *("partial", "_in_json", "_error", "_stock", "_days_off", "_mean_rate", "_part_column"),
    # Complaints, which are English.
    *("at", "InputError", "Problem", "ValueError", "choice"),
    # Data, patterns and drawing.
    *("get", "startswith", "removeprefix", "removesuffix", "split", "compile", "sub"),
    *("strftime", "annotate", "filterwarnings", "Raster"),
}
NAMES = {
    *("what", "remedy", "_KEYS"),  # complaints, and keys of the season file
    *("TO_DO", "_BY_ZONE", "KEY"),  # kinds of a layer; titles and remarks of tables
}
# Words of the data, which stay; pages show them by `in_words`.
DATA = {
    *("look first", "as given", "more than", "{} the errors of weighing"),
    *("bought or left is not known", "times covered", "kg m-2", "{} applied"),
    *("field with an operation", ", which holds {}", ": no load is told"),  # of complaints
    "kind of log",  # what told of a receiver
    *("rates {}", "shares {}", "halfway {}", "sign {}"),  # of files and styles of charts
    *("field {}", "landlord {}", "practice {} {}", "Evenacre {}"),  # of files; the program
    "per {}",  # a unit in the head of a column of data
}
# Why a figure is not in every output, for who maintains it; parts of file names; drawing.
WHY = re.compile(
    r"\b(JSON|the (page|answer|table of|account)|told in sentences|elsewhere|sheets of paper)\b"
)
NO_TEXT = re.compile(
    r"^\s*<|_m2|_kg|_deg\b|_m\b|https?:|\\|\{%|^(\{\}|[a-z_./])*$|^geo:|@|^data:"
    r"|stroke-|^-*chart-\{|^M[\d-]|^\{[^{}]*\} s$"
    r"|^ ?[a-z-]+=\"|^ ?(rotate|url)\(|, sans-serif$"
    r"|^(date between|offset points|(axes|figure) fraction)$"
    r"|^(upper|lower|center) (left|right|center)$"
)


def texts_unsaid(file: Path) -> Iterator[str]:
    """Strings of words that nothing translates, but for those that are no text for people."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = (str(p.value) if isinstance(p, ast.Constant) else "{}" for p in node.values)
            text = "".join(parts)
            worded = re.search(r"[A-Za-z]{3}", text.replace(" min", ""))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
            worded = re.search("[A-Za-z]", text) and " " in text
        else:
            continue
        plain = NO_TEXT.search(text) or WHY.search(text) or text in DATA
        if worded and not plain and not excused(node, parents):
            yield f"{file.relative_to(HERE)}:{node.lineno}: {text}"


def excused(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    """Whether it is a docstring, a key, what is compared, or within what is declared elsewhere."""
    above = parents[node]
    if isinstance(above, ast.JoinedStr | ast.Expr | ast.Compare | ast.Subscript | ast.Raise):
        return True
    if isinstance(above, ast.Dict) and node in above.keys:
        return True
    while not isinstance(above, ast.FunctionDef | ast.ClassDef | ast.Module):
        if isinstance(above, ast.Call):
            called = getattr(above.func, "id", getattr(above.func, "attr", ""))
            if called in SAID | DECLARING:
                return True
        if isinstance(above, ast.Assign):
            named = (one for target in above.targets for one in ast.walk(target))
            if any(getattr(one, "id", "") in NAMES for one in named):
                return True
        above = parents[above]
    return False


def test_no_text_of_reports_goes_unsaid() -> None:
    files = [file for room in ROOMS for file in sorted(room.rglob("*.py"))]
    files = [file for file in files if not ENGLISH_ALONE.search(file.as_posix())]
    assert len(files) > 50
    found = [text for file in files for text in texts_unsaid(file)]
    assert not found, "\n".join(found)


class Bracketed(NullTranslations):
    """A language that puts every text between marks, so that what nothing translates shows."""

    def gettext(self, message: str) -> str:
        return f"«{message}»"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"«{msgid1 if n == 1 else msgid2}»"

    def pgettext(self, context: str, message: str) -> str:
        return f"«{message}»"


class Read(HTMLParser):
    """Everything a page shows or reads out, and the texts of its maps."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.within = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        self.within = tag if tag in ("script", "style", "code") else ""
        if tag == "script" and said.get("type") == "application/json":
            self.within = "json"
        named = ("aria-label", "title", "alt", "data-name", "data-open-place")
        self.texts += [text for name in named if (text := said.get(name))]

    def handle_endtag(self, tag: str) -> None:
        self.within = ""

    def handle_data(self, data: str) -> None:
        if self.within == "json":
            self.texts += of_map(json.loads(data))
        elif not self.within:
            self.texts.append(data)


def of_map(held: Any) -> Iterator[str]:
    """Titles, rows and paragraphs of a map's data; the rest is shapes and names."""
    if isinstance(held, dict):
        for key, value in held.items():
            if isinstance(value, str) and key in ("t", "p"):
                yield value
            elif key == "r":
                yield from (cell for row in value for cell in row)
            else:
                yield from of_map(value)
    elif isinstance(held, list):
        for value in held:
            yield from of_map(value)


def names_in(held: Any) -> Iterator[str]:
    """Every text of a season file: names people gave, and what goes by their side."""
    if isinstance(held, dict | list):
        for value in held.values() if isinstance(held, dict) else held:
            yield from names_in(value)
    elif isinstance(held, str) and re.match(r"[^\W\d]{2}", held):  # else it is a quantity
        yield held


# Nutrients, time, the program, and what a time zone or an opener's formula is written in.
SYMBOLS = {*"NPKSBRTCMh", *("s", "P2O5", "K2O", "min", "UTC", "Evenacre", "CDT", "CST")}


# Times, names of files, and days as English has them.
PLAIN = re.compile(
    r"\d{4}-\d\d-\d\d(T[\d:+-]+)?|[\w-]+\.(csv|json|toml|gpkg|geojson)"
    r"|\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun|Apr|Aug|Sep|Oct)\b"
)


def outside_marks(texts: Iterable[str], names: Iterable[str]) -> list[str]:
    """Texts with letters that stand outside the marks and are no names or symbols."""
    longest_first = sorted({n for n in names if len(n) > 1}, key=len, reverse=True)
    found = []
    for text in texts:
        depth, bare = 0, ""
        for sign in text:
            depth += (sign == "«") - (sign == "»")
            bare += sign if not depth and sign != "»" else " "
        for name in longest_first:
            bare = bare.replace(name, " ")
        bare = PLAIN.sub(" ", bare)
        if any(word not in SYMBOLS for word in re.findall(r"[^\W\d_]\w*", bare)):
            found.append(text)
    return found


def test_a_language_reaches_every_text(sample_farm: Path, tmp_path: Path) -> None:
    season = load_season(sample_farm / "season.toml")
    one = replace(season, operations=season.operations[:1])
    field = one.operations[0].field
    assert field.zones is not None
    names = {*names_in(tomllib.loads((sample_farm / "season.toml").read_text(encoding="utf-8")))}
    names |= {*map(str, field.zones["zone"]), "America", "Chicago"}
    with spoken(Language(texts=Bracketed())):
        outcome = ev.audit_season(one, tmp_path / "out")
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    texts = [*outcome.lines, *Read(page).texts]
    assert sum("«" in text for text in texts) > 200
    assert not outside_marks(texts, names)


def test_a_language_reaches_every_text_of_a_plan(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_small_farm(tmp_path)
    file = tmp_path / "season.toml"
    names = {*names_in(tomllib.loads(file.read_text(encoding="utf-8"))), "West", "East", "paddock"}
    monkeypatch.setattr(spoken_languages, "language", lambda _tag: Language(texts=Bracketed()))
    with spoken("en"):
        planned = ev.interseed(file)
        drill = ev.measure(file)
        even = ev.finish(area="18 ac", left="1900 lb", rate="110 lb/ac")
        test = ev.calibrate(product="rye", catch="4.2 4.1 kg", area="400 m2", target="100 kg/ha")
        driven = ev.plan_passes(file)
    planned.write(tmp_path / "plan")
    driven.write(tmp_path / "passes")
    texts = [line for told in (planned, drill, even, test, driven) for line in told.lines]
    for folder in ("plan", "passes"):
        texts += Read((tmp_path / folder / "report.html").read_text(encoding="utf-8")).texts
    assert sum("«" in text for text in texts) > 200
    assert not outside_marks(texts, {*names, "Home Field", "rye"})
