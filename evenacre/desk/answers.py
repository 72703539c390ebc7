"""Questions that the files leave open, and what somebody answers."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from evenacre.desk import forms
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
    "products": (UseTable, "rate"),
}
_KEYS_OF_DRILLS = ("width", "rows", "rows_per_tower")
_LABELS = {
    "width": "Working width",
    "rows": "Number of rows",
    "rows_per_tower": "Rows of a tower",
    "setbacks": "Distance to keep",
    "rate": "Target rate",
    "kind": "Kind of product",
    "products": "Product, and its target rate if you know it",
}


@dataclass(frozen=True)
class OpenQuestion:
    """A question that the season does not answer yet.

    Attributes
    ----------
    needed : bool
        Whether an audit waits for the answer.
    """

    asks: str
    kind: str = ""
    name: str = ""
    example: str = ""
    source: Mapping[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Its name in addresses, the same as long as the same is asked."""
        told = "\n".join((self.kind, self.name, self.asks))
        return hashlib.sha256(told.encode()).hexdigest()[:16]

    @property
    def choices(self) -> tuple[str, ...]:
        """Answers to choose from; none where it is to be written."""
        return KINDS if self.kind == "kind" else ()

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
    found: list[OpenQuestion] = []
    for one in asked if isinstance(asked, list) else []:
        kind, name = one["about"] or ("", "")
        question = OpenQuestion(one["asks"], kind, name, one["example"], one["source"])
        if kind == "products":
            found += _of_each_job(question, raw)
        elif not kind or any(True for _ in _unanswered(question, raw)):
            found.append(question)
    return sorted(found, key=lambda question: not question.needed)


def _of_each_job(question: OpenQuestion, raw: Mapping[str, Any]) -> Iterator[OpenQuestion]:
    """What was placed, asked of every job that does not say."""
    for job in _tables(raw, "operation"):
        if not job.get("products"):
            job_name, field_name = str(job.get("name")), str(job.get("field"))
            yield replace(
                question,
                asks=f'What was placed by "{job_name}" on {field_name}?',
                name=f"{job_name} on {field_name}",
                source={"name": job_name, "field": field_name},
            )


def about(question: OpenQuestion, raw: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Jobs that a question is about, by field and name."""
    found = []
    for job in _tables(raw, "operation"):
        uses = job.get("products", [])
        placed = [
            str(use.get("product")) if isinstance(use, Mapping) else str(use)
            for use in (uses if isinstance(uses, list) else [uses])
        ]
        field_name, name = (str(job.get(key)).strip() for key in ("field", "name"))
        is_of = {
            "products": question.source == {"name": job.get("name"), "field": job.get("field")},
            "setbacks": field_name == question.name,
            "rate": question.name in placed,
            "kind": question.name in placed,
        }
        if is_of.get(question.kind, str(job.get("implement")).strip() == question.name):
            found.append((field_name, name))
    return found


def trouble_with(question: OpenQuestion, answer: str) -> str:
    """What is wrong with an answer, and what to do; empty when nothing is."""
    model, key = _CHECKED[question.kind]
    problems = ProblemCollector(lambda _key: ("", ""))
    value = _value(question, answer)
    if question.kind == "products":
        product, value = _placed(answer)
        if not product:
            return 'Write the product, a comma and its rate: "18-46-0, 110 lb/ac".'
        if not value:
            return ""
    table = {"name": "x", "product": "x", "file": "x", key: value}
    problems.check(model, {k: v for k, v in table.items() if k in model.model_fields})
    return " ".join(f"{problem.what} {problem.remedy}" for problem in problems.problems)


def put_answer(question: OpenQuestion, answer: str, document: Any) -> None:
    """Write an answer wherever the season leaves the question open."""
    if question.kind == "products":
        _put_product(question, answer, document)
        return
    value = _value(question, answer)
    for holder, key in _unanswered(question, document):
        if question.kind == "rate" and isinstance(holder, list):
            holder[key] = inline({"product": holder[key], "rate": value})
        elif question.kind == "setbacks":
            holder[key] = inline({**question.source, "distance": value})
        else:
            holder[key] = value


def _placed(answer: str) -> tuple[str, str]:
    """Product and rate; a number after the last comma begins a rate."""
    product, _, rate = (part.strip() for part in answer.rpartition(","))
    return (product, rate) if product and rate[:1].isdecimal() else (answer.strip(" ,"), "")


def _put_product(question: OpenQuestion, answer: str, document: Any) -> None:
    """Write into its job what was placed; a product that is new is listed with the others."""
    name, rate = _placed(answer)
    jobs = _tables(document, "operation")
    asked = (question.source["name"], question.source["field"])
    number = next(
        n for n, j in enumerate(jobs) if (str(j.get("name")), str(j.get("field"))) == asked
    )
    use = {"product": name, **({"rate": rate} if rate else {})}
    job = {**_plain(jobs[number]), "products": [use]}
    forms.put_table(forms.KINDS["operation"], job, document, number)
    if name not in [str(table.get("name")).strip() for table in _tables(document, "product")]:
        forms.put_table(forms.KINDS["product"], {"name": name}, document, None)


def _plain(value: Any) -> Any:
    return value.unwrap() if hasattr(value, "unwrap") else value


def _value(question: OpenQuestion, answer: str) -> str | int:
    is_count = question.kind.startswith("rows") and re.fullmatch(r"\d{1,9}", answer)
    return int(answer) if is_count else answer


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
