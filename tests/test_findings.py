"""Findings: every code that is raised has words and an entry in the list, and none is left over."""

from __future__ import annotations

import ast
import inspect
import pickle
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest
from synthetic_result import make_result

import evenacre
from evenacre.errors import InputError
from evenacre.io.cache.plain_form import pack, unpack
from evenacre.model.audit_result import AuditResult
from evenacre.model.finding import Finding, FindingError, said_once
from evenacre.reports.sentences.findings import (
    REFUSALS,
    SENTENCES,
    refusals_in_words,
    sentence,
    sentences,
)

PACKAGE = Path(evenacre.__file__).parent
LIST = PACKAGE.parent / "docs" / "reference" / "findings.md"
ROOMS = ("model/finding.py", "coverage", "planning")
WORDLESS_ROOMS = ("coverage", "planning")
KIND = {"Finding.warning": "warning", "Finding.note": "note", "FindingError": "refusal"}


def sources(rooms: tuple[str, ...]) -> Iterator[tuple[Path, ast.Module]]:
    for room in rooms:
        place = PACKAGE / room
        for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
            yield path, ast.parse(path.read_text())


def raised() -> Iterator[tuple[str, str, frozenset[str]]]:
    """Kind, code and names of the values at every place that raises a finding."""
    for path, tree in sources(ROOMS):
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call) or ast.unparse(node.func) not in KIND:
                continue
            where = f"{path.name}:{node.lineno}"
            code, names = node.args[0], {k.arg for k in node.keywords} - {"place"}
            assert None not in names, f"{where}: the values of a finding are named one by one"
            kind = KIND[ast.unparse(node.func)]
            for one in codes(code, tree, where):
                yield kind, one, frozenset(name for name in names if name)


def codes(code: ast.expr, tree: ast.Module, where: str) -> set[str]:
    """Texts that an expression, or the variable it names, may hold."""
    if isinstance(code, ast.Constant) and isinstance(code.value, str):
        return {code.value}
    if isinstance(code, ast.IfExp):
        return codes(code.body, tree, where) | codes(code.orelse, tree, where)
    assert isinstance(code, ast.Name), f"{where}: the code of a finding is written out"
    bound = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == code.id
    ]
    assert bound, f"{where}: the code of a finding is written out"
    return set().union(*(codes(value, tree, where) for value in bound))


def fields(words: object) -> frozenset[str]:
    """Names of the values that words speak of."""
    if callable(words):
        return frozenset(inspect.signature(words).parameters)
    return frozenset(name for _, name, _, _ in Formatter().parse(str(words)) if name)


def test_every_code_has_words_and_every_words_a_code() -> None:
    found = set(raised())
    assert {code for kind, code, _ in found if kind != "refusal"} == SENTENCES.keys()
    assert {code for kind, code, _ in found if kind == "refusal"} == REFUSALS.keys()
    for kind, code, names in found:
        if kind == "refusal":
            assert names == fields(REFUSALS[code][0]) | fields(REFUSALS[code][1]), code
        else:
            assert names == fields(SENTENCES[code]), code


def test_the_list_holds_every_code_and_its_kind() -> None:
    rows = re.findall(r"^\| `(\w+)` \| ([\w, ]+) \| \S.* \|$", LIST.read_text(), re.MULTILINE)
    listed = {(kind, code) for code, kinds in rows for kind in kinds.split(", ")}
    assert listed == {(kind, code) for kind, code, _ in raised()}
    assert len(rows) == len({code for code, _ in rows})


def test_no_option_or_unit_is_named_below_the_reports() -> None:
    for path, tree in sources(WORDLESS_ROOMS):
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                assert not re.search(r"(^|[\s(])--[a-z]", node.value), (path.name, node.lineno)
            if isinstance(node, ast.ImportFrom) and node.module == "evenacre.units.display":
                assert all(name.name.isupper() for name in node.names), path.name  # constants


def test_figures_are_said_in_both_systems() -> None:
    away = Finding.warning("away_from_field", records=1234, read=56789, limit_m=50.0)
    assert sentence(away).startswith("1,234 of 56,789 records lie more than 164 ft (50.0 m) from")
    jitter = Finding.note("jitter_smoothed", jitter_m=0.0254)
    assert "about 2.5 cm (1.0 in)" in sentence(jitter)
    placed = Finding.warning("unplaced_amount", product="18-46-0 {a}", unplaced_kg=0.45359237)
    assert sentence(placed).startswith("18-46-0 {a}: 1.0 lb (0.5 kg) were logged")


def test_the_words_of_a_reader_are_kept_as_they_are() -> None:
    text = "creek {1}.csv: line 3 %s {text} was left out."
    findings = [Finding.note("said_by_reader", text=text), Finding.warning("boundary_drawn")]
    assert sentences(findings, "note") == [text]
    assert len(sentences(findings, "warning")) == 1


def test_what_stops_the_work_is_said_in_words() -> None:
    said = pytest.raises(InputError, match=r"^a\.csv: the path is cut .* --max-gap\)\.$")
    with said as told, refusals_in_words():
        raise FindingError("path_all_gaps", "a.csv")
    assert not isinstance(told.value, FindingError)


def test_findings_are_kept_with_a_result() -> None:
    result = make_result()
    assert result.findings
    assert unpack(pack(result), AuditResult).findings == result.findings


def test_what_two_machines_say_alike_is_said_once_of_all_their_records() -> None:
    def part(records: int, source: str = "log.csv") -> Finding:
        return Finding.warning("partial_width", source=source, records=records)

    inferred = Finding.note("work_from_amount")
    said = said_once([part(3), inferred, part(4), part(5, "other.csv"), inferred])
    assert said == (part(7), inferred, part(5, "other.csv"))


def test_a_refusal_comes_whole_out_of_a_worker() -> None:
    refused = FindingError("gate_too_narrow", "Creek", "gate", gate_m=4.0, machine_m=5.0)
    back = pickle.loads(pickle.dumps(refused))
    assert (back.code, back.file, back.place, back.values) == (
        *("gate_too_narrow", "Creek", "gate"),
        {"gate_m": 4.0, "machine_m": 5.0},
    )
    assert str(back) == str(refused)
