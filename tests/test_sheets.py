"""Sheets to hand over, read back by a library that did not write them."""

from __future__ import annotations

import io
import json
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest
from PIL import Image
from small_farm import write_small_farm
from synthetic_season import DAP, MEADOW, job, make_ledger

from evenacre.io.season.load import load_season
from evenacre.model import Handover, InputFile
from evenacre.model.audit_result import SetbackFinding
from evenacre.planning.loads.stock_balance import OperationLoads
from evenacre.planning.season.nutrients import AuditedJob, product_totals
from evenacre.reports.paper.account import PaperJob, SeasonAccount
from evenacre.reports.paper.sheets import job_sheet
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import JobLine, card, job_line
from evenacre.reports.sentences.handed_over import setback_lines
from evenacre.reports.writers.as_html import PageTable
from evenacre.reports.writers.fonts import fonts_folder
from evenacre.reports.writers.typeset import (
    Blanks,
    Lines,
    Paper,
    Picture,
    Small,
    paper_size,
    typeset,
)
from evenacre.units.display import US
from evenacre.workflows.audit import audit_season

ACRE, POUND = 4046.8564224, 0.45359237
MADE = datetime(2026, 11, 28, 16, 32, tzinfo=UTC)
HOSTILE = (
    '#panic("x") #read("/etc/passwd") #sys.inputs',
    "*bold* _slant_ $1/0$ `raw` <label> @ref // gone? /* gone? */",
    '"}]} \\ \\u{41} ]) #let paper = none',
    "M\u00fcller \u4e95 \U0001f33e",  # of each script one: pypdf reads signs as one letter
    "W" * 300,
)


def opened(pdf: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf), strict=True)


def words(pdf: bytes) -> str:
    """Text of all pages without white space, which is the setter's to choose."""
    return "".join("".join(page.extract_text().split()) for page in opened(pdf).pages)


def png() -> bytes:
    held = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(held, "PNG")
    return held.getvalue()


def paper(name: str = "Creek Forty", rows: int = 3) -> Paper:
    table = PageTable("Table", ("Name", "Amount"), [(f"row {i}.", f"{i} lb") for i in range(rows)])
    return Paper(
        f"Farm {name}",
        name,
        "April",
        (
            Lines("", (f"Mind {name}.",), marked=True),
            Picture(png(), f"A map of {name}", (Lines("Beside", ("said",)),)),
            table,
            Small((name,)),
            Blanks((("Signature", "Date"),)),
        ),
        "Foot.",
    )


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("farm")
    write_small_farm(home)
    audit_season(load_season(home / "season.toml"), home / "out", pdf=True)
    return home / "out"


def test_the_sheets_hold_the_figures_of_the_account(audited: Path) -> None:
    told = json.loads((audited / "summary.json").read_text(encoding="utf-8"))
    sheets = [name for name in told["files"] if name.startswith("sheets/")]
    (one,) = told["operations"]
    own = "sheets/home-field-spring-fertilizer-2026-04-14.pdf"
    assert sorted(sheets) == ["sheets/field-home-field.pdf", own, "sheets/season.pdf"]
    assert "report.pdf" in told["files"]
    bound = (audited / own).read_bytes()
    assert len(opened(bound).pages) == 1
    text = words(bound)
    (product,) = one["products"]
    assert f"{product['applied_in_field_kg'] / POUND:,.0f}lb" in text
    low, high = (end / POUND for end in product["interval_90"]["applied_in_field_kg"])
    (shown,) = re.findall(
        rf"{product['applied_in_field_kg'] / POUND:,.0f}lb([\d.]+)to([\d.]+)lb", text
    )
    assert [float(end) for end in shown] == pytest.approx([low, high], abs=0.51)
    for key in ("workable_area_m2", "covered_area_m2"):
        assert f"{one[key] / ACRE:.2f}" in text
    nitrogen = 0.18 * product["applied_in_field_kg"]
    assert f"N{nitrogen / POUND:.1f}lb" in text
    phosphorus = 0.46 * product["applied_in_field_kg"] * 2 * 30.974 / (2 * 30.974 + 5 * 15.999)
    assert f"P:{phosphorus / POUND:.1f}lb" in text
    assert "Nosetbacksweregiven" in text
    logs = {source["path"]: source["sha256"] for source in told["inputs"]}
    assert f"log.csv{logs['log.csv'][:12]}" in text
    season = words((audited / "sheets/season.pdf").read_bytes())
    assert f"{product['applied_in_field_kg'] / POUND:,.0f}lb" in season
    assert f"${product['logged_kg'] / POUND * 840 / 2000:,.0f}" in season


def account(jobs: Sequence[AuditedJob], **said: Any) -> SeasonAccount:
    display = Display(US)
    papers = [PaperJob(one, loads_of(one), line_of(one), display) for one in jobs]
    inputs = [InputFile("log.csv", "ab" * 32)]
    return SeasonAccount("Farm", papers, make_ledger(), display, inputs, (), (), Handover(**said))


def loads_of(one: AuditedJob) -> OperationLoads:
    return OperationLoads(one.result.field, one.result.operation, (), (), {})


def line_of(one: AuditedJob) -> JobLine:
    return job_line(one.result, card(one.result, US), US)


def sheet_of(field_name: str = "Creek Forty", **said: Any) -> bytes:
    one = job(MEADOW, 25.0, "Seeding")
    one = replace(one, result=replace(one.result, field=field_name, **said))
    made = job_sheet(PaperJob(one, loads_of(one), line_of(one), Display(US)), account([one]))
    return typeset(made, size="us-letter", made=MADE)


def test_a_sheet_of_seed_tells_pure_live_seed() -> None:
    text = words(sheet_of())
    # Three parts of five at 25 lb/ac; pure live seed is purity times (germination + hard seed)
    assert f"{0.6 * 25 * 0.98 * (0.87 + 0.05):.1f}lb/ac" in text
    assert f"{0.4 * 25 * 0.90 * 0.90:.2f}lb/ac" in text


def test_setbacks_are_kept_or_not_or_not_looked_at() -> None:
    result = job(DAP, 150.0, "Starter").result
    (name,) = result.layers["setbacks"]["name"]
    (p,) = result.products
    (inside,) = p.setbacks

    def said(*found: SetbackFinding, **more: Any) -> list[str]:
        return setback_lines(replace(result, products=(replace(p, setbacks=found),), **more))

    assert said(inside) == [f"Not kept, by the log: {name}."]
    assert said(replace(inside, interval_90={"applied_kg": (1.0, 30.0)})) == said(inside)
    doubtful = replace(inside, interval_90={"applied_kg": (0.0, 30.0)})
    assert said(doubtful) == [f"Too close to tell, by the log: {name}."]
    assert said() == [f"Kept, by the log: {name}."]
    (line,) = said(inside, tells_places=False)
    assert "too coarse" in line
    (line,) = said(layers={**result.layers, "setbacks": result.layers["setbacks"].iloc[:0]})
    assert line.startswith("No setbacks were given")


def test_what_nobody_knows_is_not_told_as_nothing() -> None:
    known = sheet_of()
    (p,) = job(MEADOW, 25.0, "Seeding").result.products
    nobody = replace(
        p,
        source="target",
        target_kg=None,
        target_kg_per_m2=None,
        logged_kg=0.0,
        applied_in_field_kg=0.0,
        mean_rate_kg_per_m2=0.0,
        setbacks=(),
    )
    text = words(sheet_of(products=(nobody,)))
    assert "Howmuchmeadowwasputdownisnotknown" in text
    assert "Whatwasputdown" in words(known)
    assert "Whatwasputdown" not in text
    assert "0lb" not in text


def test_totals_are_those_of_the_jobs() -> None:
    jobs = [job(DAP, 150.0, "Starter"), job(DAP, 50.0, "Second"), job(MEADOW, 25.0, "Seeding")]
    totals = {t.product: t for t in product_totals(jobs)}
    assert list(totals) == ["18-46-0", "meadow"]
    applied = [j.result.products[0].applied_in_field_kg for j in jobs]
    assert totals["18-46-0"].total_kg == pytest.approx(applied[0] + applied[1])
    assert totals["meadow"].total_kg == pytest.approx(applied[2])


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_changes_nothing_but_the_text(name: str) -> None:
    plain, odd = (typeset(paper(said), size="a4", made=MADE) for said in ("NAME", name))
    assert len(opened(odd).pages) == len(opened(plain).pages) == 1
    assert words(odd) == words(plain).replace("NAME", "".join(name.split()))


def test_letters_that_no_font_has_stop_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fonts = tmp_path / "fonts" / "ttf"
    fonts.mkdir(parents=True)
    for font in fonts_folder().glob("DejaVuSans*.ttf"):
        shutil.copy(font, fonts)
    monkeypatch.setattr("evenacre.reports.writers.typeset.fonts_folder", lambda: fonts)
    bound = typeset(paper("Field \u4e95"), size="a4", made=MADE)
    assert "Field" in words(bound)
    assert b"pdfuaid:part" not in opened(bound).trailer["/Root"]["/Metadata"].get_data()


def test_the_name_of_a_field_stays_on_its_sheet_whole() -> None:
    for name in HOSTILE[::4]:
        assert "".join(name.split()) in words(sheet_of(name))


def test_a_word_wider_than_the_page_is_cut_into_lines() -> None:
    wide = "W" * 300
    table = PageTable("T", (wide, "Amount"), [(wide, "1 lb"), ("row", "2 lb")])
    said = replace(paper(wide), parts=(*paper(wide).parts, table))
    pages = opened(typeset(said, size="a4", made=MADE)).pages
    runs = [len(run) for page in pages for run in re.findall("W+", page.extract_text())]
    assert sum(runs) >= 300 * 6
    # A W of DejaVu Sans is 0.989 em wide; the smallest letters are of 6.5 points.
    assert max(runs) * 0.989 * 6.5 < float(pages[0].mediabox.width)


def test_a_long_table_repeats_its_head_and_cuts_no_row() -> None:
    pages = opened(typeset(paper(rows=200), size="us-letter", made=MADE)).pages
    assert len(pages) > 2
    texts = ["".join(page.extract_text().split()) for page in pages]
    assert all("NameAmount" in text for text in texts)
    for i in range(200):
        assert sum(f"row{i}.{i}lb" in text for text in texts) == 1


@pytest.mark.parametrize("size", ["us-letter", "a4"])
def test_a_signature_stands_on_no_page_alone(size: Any) -> None:
    one, *_, files, blanks = paper().parts
    turned = 0
    for rows in range(55, 75):
        table = PageTable("T", ("Name", "Amount"), [(f"row {i}.", "1 lb") for i in range(rows)])
        said = replace(paper(), parts=(one, table, files, blanks))
        texts = [page.extract_text() for page in opened(typeset(said, size=size, made=MADE)).pages]
        turned += len(texts) > 1
        (signed,) = (text for text in texts if "Signature" in text)
        assert "Creek Forty" in signed.partition("Signature")[0]
    assert turned > 0


def test_a_sentence_as_wide_as_the_page_is_not_shortened() -> None:
    sentence = " ".join(f"word{i}" for i in range(80))
    assert len(sentence) > 400
    table = PageTable("T", ("What", "Where"), [("1", sentence)], words=2, remark=f"{sentence} R.")
    said = replace(paper(), parts=(Lines("", (sentence,)), table))
    text = words(typeset(said, size="a4", made=MADE))
    assert text.count("".join(sentence.split())) == 3


def objects(pdf: pypdf.PdfReader) -> Iterator[Any]:
    for number in range(1, len(pdf.xref[0]) + len(pdf.xref_objStm) + 1):
        yield pdf.get_object(number)


def test_the_pdf_is_tagged_tells_its_picture_and_holds_its_fonts() -> None:
    bound = typeset(paper(), size="us-letter", made=MADE)
    pdf = opened(bound)
    root: Any = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712 - a kind of its own
    assert str(root["/Lang"]).startswith("en")
    found = [o for o in objects(pdf) if isinstance(o, dict)]
    kinds = {str(o["/S"]) for o in found if o.get("/Type") == "/StructElem" or "/S" in o}
    assert {"/Table", "/TR", "/TH", "/TD", "/Figure", "/H1"} <= kinds
    assert "A map of Creek Forty" in {str(o["/Alt"]) for o in found if "/Alt" in o}
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    letters = [o for o in found if o.get("/Type") == "/FontDescriptor"]
    assert letters
    assert all(any(key.startswith("/FontFile") for key in o) for o in letters)


def test_equal_papers_are_equal_to_the_byte_and_told_their_time() -> None:
    first, second = (typeset(paper(), size="a4", made=MADE) for _ in range(2))
    assert first == second
    about = opened(first).metadata
    assert about is not None
    assert about.creation_date == MADE
    assert "MadeNov28,2026" in words(first)


@pytest.mark.parametrize(("size", "inches"), [("us-letter", (8.5, 11)), ("a4", (8.268, 11.693))])
def test_paper_is_of_the_size_that_was_asked_for(size: Any, inches: tuple[float, float]) -> None:
    box = opened(typeset(paper(), size=size, made=MADE)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx([72 * i for i in inches], abs=0.1)


@pytest.mark.parametrize(
    ("said", "size"),
    [
        (("us",), "us-letter"),
        (("metric",), "a4"),
        (("metric", "EUR"), "a4"),
        (("metric", "CAD"), "us-letter"),
        (("metric", "CAD", "a4"), "a4"),
        (("us", "USD", "a4"), "a4"),
        (("metric", "EUR", "letter"), "us-letter"),
    ],
)
def test_paper_goes_with_units_and_country_unless_asked_for(said: Any, size: str) -> None:
    assert paper_size(*said) == size
