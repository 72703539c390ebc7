"""The report and the sheets on paper, drawn and read by poppler, which did not write them."""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pypdf
import pytest
import shapely
from defusedxml.ElementTree import fromstring
from PIL import Image
from rendered_pages import check_pages
from synthetic_season import CLOVER, DAP, GRASS, MEADOW, job

from evenacre.errors import InputError
from evenacre.io.season.load import load_season
from evenacre.model import Handover, InputFile, Practice
from evenacre.planning.loads.stock_balance import OperationLoads
from evenacre.planning.season.nutrients import AuditedJob
from evenacre.planning.season.season_totals import ledger
from evenacre.reports.maps import sheet
from evenacre.reports.paper import account as of_account
from evenacre.reports.paper.account import PaperJob, SeasonAccount
from evenacre.reports.paper.all_sheets import sheets
from evenacre.reports.paper.report import report
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import card, job_line
from evenacre.reports.writers.fonts import width_of
from evenacre.reports.writers.typeset import Paper, typeset
from evenacre.units.display import US

MADE = datetime(2026, 11, 28, 16, 32, tzinfo=UTC)
HOSTILE = (
    "شركة الحقول الخضراء",  # right to left
    "井田 Поле 🌾🚜",
    "x" * 300,
    '#panic("x") $1/0$ <label> @ref // gone?',
    "\u202eevil\u202c name",
)


@pytest.fixture(autouse=True)
def _one_map(monkeypatch: pytest.MonkeyPatch) -> None:
    """Maps are drawn elsewhere; here any picture of their shape will do."""
    held = io.BytesIO()
    Image.new("RGB", (340, 300), "green").save(held, "PNG")
    for name in ("map_beside_figures", "rate_map"):
        monkeypatch.setattr(of_account, name, lambda *_: SimpleNamespace(png=held.getvalue()))


def on(field: str, one: AuditedJob) -> AuditedJob:
    return replace(one, result=replace(one.result, field=field))


def season(name: str = "Creek Forty", **said: Any) -> SeasonAccount:
    jobs = [
        on(name, job(DAP, 150.0, "Starter")),
        on(name, job(MEADOW, 25.0, "Seeding")),
        on("Mill Ten", job(DAP, 120.0, "Starter")),
    ]
    return account(jobs, **{"farm": "Farm", **said})


def account(jobs: Sequence[AuditedJob], *, farm: str, **said: Any) -> SeasonAccount:
    display = Display(US)
    book = ledger(jobs, [], [DAP, CLOVER, GRASS, MEADOW])
    papers = []
    for one in jobs:
        r = one.result
        line = job_line(r, card(r, US), US)
        loads = OperationLoads(r.field, r.operation, (), (), {})
        papers.append(PaperJob(one, loads, line, display))
    inputs = [InputFile("log.csv", "ab" * 32)]
    return SeasonAccount(farm, papers, book, display, inputs, ("A warning.",), (), Handover(**said))


def pdf(paper: Paper) -> bytes:
    return typeset(paper, size="us-letter", made=MADE)


def text(bound: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(bound)).pages
    return "".join("".join(page.extract_text().split()) for page in pages)


HANDED = {
    "contact": "Ana Ortiz, 660-555-0143",
    "landlords": {"Mill Ten": "Wilma Ekkert"},
    "practices": {("Creek Forty", "Seeding"): Practice("Cover crop", "340")},
}


@pytest.fixture(scope="module")
def handed() -> SeasonAccount:
    """A season that says whom its sheets are for."""
    return season(**HANDED)


def test_there_is_a_sheet_for_each_job_field_landlord_and_practice(handed: SeasonAccount) -> None:
    made = dict(sheets(handed))
    assert sorted(made) == [
        *(f"sheets/creek-forty-{job}-2026-04-14.pdf" for job in ("seeding", "starter")),
        *(f"sheets/field-{field}.pdf" for field in ("creek-forty", "mill-ten")),
        "sheets/landlord-wilma-ekkert.pdf",
        "sheets/mill-ten-starter-2026-04-14.pdf",
        "sheets/practice-340-cover-crop.pdf",
        "sheets/season.pdf",
    ]


def test_a_landlord_is_told_of_his_ground_alone_and_of_costs_only_if_asked(
    handed: SeasonAccount,
) -> None:
    name = "sheets/landlord-wilma-ekkert.pdf"
    his = text(pdf(dict(sheets(handed))[name]))
    assert "WilmaEkkert" in his
    assert "MillTen" in his
    assert "CreekForty" not in his
    assert "$" not in his
    told = text(pdf(dict(sheets(season(**HANDED, landlord_costs=True)))[name]))
    assert "$" in told


def test_a_practice_has_its_code_and_its_jobs_alone(handed: SeasonAccount) -> None:
    told = text(pdf(dict(sheets(handed))["sheets/practice-340-cover-crop.pdf"]))
    assert "Practice:Covercrop,code340" in told
    assert "Seeding" in told
    assert "Starter" not in told


def test_the_sheet_of_a_field_adds_up_its_jobs() -> None:
    first, second = job(DAP, 150.0, "Starter"), job(DAP, 50.0, "Second")
    told = text(
        pdf(dict(sheets(account([first, second], farm="Farm")))["sheets/field-creek-forty.pdf"])
    )
    sums = [one.result.products[0].applied_in_field_kg / 0.45359237 for one in (first, second)]
    assert f"{sum(sums):,.0f}"[:3] in told
    # Nutrients of zones: 18 % of what lies on each
    zones = [one.result.products[0].zones for one in (first, second)]
    for zone, *others in zip(*zones, strict=True):
        nitrogen = 0.18 * sum(z.applied_kg for z in (zone, *others)) / 0.45359237
        assert re.search(rf"{zone.zone}{nitrogen:,.3g}", told)


def test_whom_to_ask_stands_on_every_sheet_or_a_line_for_it(handed: SeasonAccount) -> None:
    for paper in dict(sheets(handed)).values():
        assert "QuestionsaboutthissheetgotoAnaOrtiz,660-555-0143." in text(pdf(paper))
    assert "Telephone" in text(pdf(dict(sheets(season()))["sheets/season.pdf"]))


def test_the_report_has_the_season_first_and_leaves_out_passes() -> None:
    told = text(pdf(report(season())))
    places = [told.index(part) for part in ("Awarning.", "Jobs", "Theseason", "CreekForty:Starter")]
    assert places == sorted(places)
    assert "Heading" not in told
    assert told.count("Thework") == 3


@pytest.mark.parametrize("size", ["us-letter", "a4"])
def test_nothing_is_clipped_or_lies_on_other_words(
    size: Any, tmp_path: Path, handed: SeasonAccount
) -> None:
    made = {"report": report(handed), **dict(sheets(handed))}
    for paper in made.values():
        check_pages(typeset(paper, size=size, made=MADE), tmp_path)


def test_what_lies_on_other_words_is_found(tmp_path: Path) -> None:
    import typst

    page = b"#set page(margin: 2cm)\n#place(dx: 4pt)[one two]\n#place(dx: 8pt)[three four]"
    with pytest.raises(AssertionError, match="words on words"):
        check_pages(typst.compile(page, format="pdf"), tmp_path)
    page = b"#set page(margin: 2cm)\n#place(dx: -1.9cm)[one two] three"
    with pytest.raises(AssertionError, match="margin"):
        check_pages(typst.compile(page, format="pdf"), tmp_path)


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_change_nothing_but_the_text(
    name: str, tmp_path: Path, handed: SeasonAccount
) -> None:
    named = {
        "contact": name,
        "landlords": {name: name},
        "practices": {(name, "Seeding"): Practice(name, name[:20])},
    }
    odd = season(name, farm=name, **named)
    made = {"report": report(odd), **dict(sheets(odd))}
    assert len(made) == len(dict(sheets(handed))) + 1
    assert all(re.fullmatch(r"report|sheets/[a-z0-9-]+\.pdf", file) for file in made)
    for file in ("report", *(file for file in made if re.search("landlord|practice", file))):
        check_pages(pdf(made[file]), tmp_path)


def test_all_pictures_tell_what_they_show_and_headings_skip_no_level() -> None:
    bound = pypdf.PdfReader(io.BytesIO(pdf(report(season()))))
    root: Any = bound.trailer["/Root"]
    assert b"pdfuaid:part" in root["/Metadata"].get_data()
    kinds: list[str] = []
    told: list[str] = []

    def walk(node: Any) -> None:
        node = node.get_object()
        if isinstance(node, pypdf.generic.ArrayObject):
            for part in node:
                walk(part)
        elif isinstance(node, pypdf.generic.DictionaryObject):
            if "/S" in node:
                kinds.append(str(node["/S"]))
                if node["/S"] == "/Figure":
                    told.append(str(node.get("/Alt", "")))
            if "/K" in node:
                walk(node["/K"])

    walk(root["/StructTreeRoot"])
    assert len(told) == 6  # of each job its ground and its one product
    assert all("north up" in alt or "rate of" in alt for alt in told)
    levels = [int(kind[2:]) for kind in kinds if re.fullmatch(r"/H\d", kind)]
    assert levels[0] == 1
    assert all(later - earlier <= 1 for earlier, later in itertools.pairwise(levels))


def season_file(folder: Path, operations: str, top: str = "") -> Path:
    (folder / "log.csv").write_text("time,lon,lat\n", encoding="utf-8")
    head = f'{top}\n[[implement]]\nname = "drill"\nwidth = "20 ft"\n'
    fields = '[[field]]\nname = "A"\nlandlord = "Wilma Ekkert"\n[[field]]\nname = "B"\n'
    fields += 'landlord = "wilma ekkert"\n'
    path = folder / "season.toml"
    path.write_text(head + fields + operations, encoding="utf-8")
    return path


def operation(field: str, more: str) -> str:
    return (
        f'[[operation]]\nname = "job"\nfield = "{field}"\nimplement = "drill"\n'
        f'tracks = ["log.csv"]\n{more}\n'
    )


def test_the_season_says_whom_and_what_sheets_are_for(tmp_path: Path) -> None:
    told = operation("A", 'practice = "Cover crop"\npractice_code = "340"')
    told += operation("B", 'practice = "cover crop"')
    path = season_file(tmp_path, told, 'contact = "Ana"\npaper = "a4"\nlandlord_costs = true')
    handover = load_season(path).handover
    assert (handover.contact, handover.paper, handover.landlord_costs) == ("Ana", "a4", True)
    assert handover.landlords == {"A": "Wilma Ekkert", "B": "Wilma Ekkert"}
    assert set(handover.practices.values()) == {Practice("Cover crop", "340")}


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ('practice_code = "340"', "", "none is named"),
        (
            'practice = "Cover crop"\npractice_code = "340"',
            'practice = "Cover crop"\npractice_code = "327"',
            "another code before: 340",
        ),
    ],
)
def test_codes_that_contradict_are_complained_of(
    tmp_path: Path, first: str, second: str, said: str
) -> None:
    path = season_file(tmp_path, operation("A", first) + operation("B", second))
    with pytest.raises(InputError, match=f"practice_code.*{said}"):
        load_season(path)


def test_labels_are_moved_into_the_map() -> None:
    box = (0.0, 0.0, 100.0, 60.0)
    made = sheet.outlined(gpd.GeoSeries([shapely.box(*box)]), box, "A", "", US)
    for x in (0.0, 50.0, 100.0):
        for y in (0.0, 30.0, 60.0):
            made.label(np.array([x, y]), np.array([90.0, -90.0 if y else 90.0]), "12", 9.0, "black")
    svg = fromstring(made.drawn("").svg)
    texts = [t for t in svg.iter("{http://www.w3.org/2000/svg}text") if t.text == "12"]
    at = np.array([(float(t.get("x", "")), float(t.get("y", ""))) for t in texts])
    wide, (left, top, right, bottom) = width_of("12", 9.0), made.room
    assert len(at) == 9
    assert (at[:, 0] - wide / 2 >= left).all()
    assert (at[:, 0] + wide / 2 <= right).all()
    assert (at[:, 1] - 0.73 * 9.0 >= top).all()  # so high is a figure
    assert (at[:, 1] <= bottom).all()
    middle = made.in_points(np.array([[50.0, 30.0]]))[0] + np.array([90.0, -90.0 + 0.36 * 9.0])
    assert at[4] == pytest.approx(middle, abs=0.01)  # there was room
