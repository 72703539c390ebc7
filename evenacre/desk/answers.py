"""Questions that the files leave open, and what somebody answers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from evenacre.io.common.problem_collector import ProblemCollector
from evenacre.io.season.edit import inline
from evenacre.io.season.schema import (
    ImplementTable,
    KeyTable,
    ProductTable,
    SetbacksTable,
    UseTable,
)

KINDS = ("fertilizer", "seed", "other")
_CHECKED: dict[str, tuple[type[KeyTable], str]] = {
    "width": (ImplementTable, "width"),
    "rows": (ImplementTable, "rows"),
    "rows_per_tower": (ImplementTable, "rows_per_tower"),
    "setbacks": (SetbacksTable, "distance"),
    "rate": (UseTable, "rate"),
    "kind": (ProductTable, "kind"),
}
_KEYS_OF_DRILLS = ("width", "rows", "rows_per_tower")
_LABELS = {
    "width": "Working width",
    "rows": "Number of rows",
    "rows_per_tower": "Rows of a tower",
    "setbacks": "Distance to keep",
    "rate": "Target rate",
    "kind": "Kind of product",
}


@dataclass(frozen=True)
class OpenQuestion:
    """A question that the season does not answer yet.

    Attributes
    ----------
    key : str
        Its name in forms.
    needed : bool
        Whether an audit waits for the answer.
    """

    key: str
    asks: str
    kind: str = ""
    name: str = ""
    example: str = ""
    source: Mapping[str, str] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """What the box is for; empty where there is none."""
        return _LABELS.get(self.kind, "")

    @property
    def needed(self) -> bool:
        """Whether an audit waits for the answer."""
        return self.kind in _KEYS_OF_DRILLS


def open_questions(asked: object, raw: Mapping[str, Any]) -> list[OpenQuestion]:
    """What of the questions that gathering asked is still open, what an audit waits for first.

    Parameters
    ----------
    asked : list of dict
        As `evenacre.desk.work.gather` left them.
    raw : mapping
        The season as it is now.
    """
    found = []
    for number, one in enumerate(asked if isinstance(asked, list) else []):
        kind, name = one["about"] or ("", "")
        question = OpenQuestion(
            f"q{number}", one["asks"], kind, name, one["example"], one["source"]
        )
        if not kind or any(True for _ in _unanswered(question, raw)):
            found.append(question)
    return found


def trouble_with(question: OpenQuestion, answer: str) -> str:
    """What is wrong with an answer, and what to do; empty when nothing is."""
    model, key = _CHECKED[question.kind]
    problems = ProblemCollector(lambda _key: ("", ""))
    table = {"name": "x", "product": "x", "file": "x", key: _value(question, answer)}
    problems.check(model, {k: v for k, v in table.items() if k in model.model_fields})
    return " ".join(f"{problem.what} {problem.remedy}" for problem in problems.problems)


def put_answer(question: OpenQuestion, answer: str, document: Any) -> None:
    """Write an answer wherever the season leaves the question open."""
    value = _value(question, answer)
    for holder, key in _unanswered(question, document):
        if question.kind == "rate" and isinstance(holder, list):
            holder[key] = inline({"product": holder[key], "rate": value})
        elif question.kind == "setbacks":
            holder[key] = inline({**question.source, "distance": value})
        else:
            holder[key] = value


def _value(question: OpenQuestion, answer: str) -> str | int:
    return int(answer) if question.kind.startswith("rows") and answer.isdecimal() else answer


def _unanswered(question: OpenQuestion, raw: Mapping[str, Any]) -> Iterator[tuple[Any, Any]]:
    """Tables (or lists) and keys where the answer would go."""
    kind, name = question.kind, question.name
    if kind == "rate":
        for operation in _tables(raw, "operation"):
            uses = operation.get("products", [])
            for number, use in enumerate(uses if isinstance(uses, list) else []):
                if isinstance(use, str) and use == name:
                    yield uses, number
                if (
                    isinstance(use, Mapping)
                    and use.get("product") == name
                    and not {"rate", "pls_rate"} & use.keys()
                ):
                    yield use, "rate"
        return
    listed = "field" if kind == "setbacks" else "product" if kind == "kind" else "implement"
    known = {
        "width": {"width", "row_spacing"},
        "rows": {"rows", "row_spacing", "sections"},
        "kind": {"kind", "analysis", "parts"},
    }.get(kind, {kind})
    for table in _tables(raw, listed):
        if table.get("name") == name and not known & table.keys():
            yield table, kind


def _tables(raw: Mapping[str, Any], key: str) -> list[Any]:
    tables = raw.get(key, [])
    return [t for t in tables if isinstance(t, Mapping)] if isinstance(tables, list) else []
