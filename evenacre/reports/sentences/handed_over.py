"""What a sheet says to who was not there: setbacks kept or not, and how sure the figures are."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from evenacre.language import mark, tr, trn
from evenacre.model import InputFile
from evenacre.model.audit_result import AuditResult, SetbackFinding
from evenacre.reports import figure_text as figures
from evenacre.reports.sentences.audit import Card, amount_known
from evenacre.reports.sentences.findings import sentences
from evenacre.units.display import UnitSystem

CAUTION = mark(
    "This sheet tells what a log shows. It does not prove that a label, a permit or a "
    "contract was kept: where that matters, ask who issued it or a licensed adviser."
)
FOLLOW = mark("Follow the label and local code. Soil tests and licensed advice come before rates.")
_DIGITS = 12
"""Of a SHA-256: enough to tell files apart; the whole of it is in ``summary.json``."""
_NOT_KEPT, _IN_DOUBT, _KEPT = mark("Not kept"), mark("Too close to tell"), mark("Kept")
_FIRST = ("doubt", "scale", "outside")


def doubt_lines(r: AuditResult, said: Card) -> list[str]:
    """What may make the figures wrong, and rates that were taken for true or are not known."""
    doubts = [text for kind, text in said.lines if kind in _FIRST]
    of_products = [text for kind, text in said.lines if kind == "product"]
    rates = zip(r.products, of_products, strict=True)
    return [*doubts, *(text for p, text in rates if p.source == "target")]


def unknown_products(results: Iterable[AuditResult]) -> list[str]:
    """Products of which some job cannot tell how much it put down: no sum is told of them."""
    every = (p for r in results for p in r.products)
    return list(dict.fromkeys(p.product for p in every if not amount_known(p)))


def unknown_lines(products: Sequence[str]) -> list[str]:
    """Say what such products are left out of."""
    names = ", ".join(products)
    return (
        [tr("How much {names} was put down is not known; no sum here holds it.", names=names)]
        if names
        else []
    )


def setback_lines(r: AuditResult) -> list[str]:
    """Say of every setback whether the log has it kept."""
    names = [str(name) for name in r.layers["setbacks"].get("name", ())]
    if not names:
        return [tr("No setbacks were given for this field, so none were held against the log.")]
    if not r.products:
        return [tr("No product is known, so setbacks were not held against the log.")]
    if not r.tells_places:
        return [tr("This log is too coarse to tell which setbacks were kept.")]
    inside: dict[str, list[SetbackFinding]] = {}
    for p in r.products:
        for s in p.setbacks:
            inside.setdefault(s.name, []).append(s)
    parted: dict[str, list[str]] = {_NOT_KEPT: [], _IN_DOUBT: [], _KEPT: []}
    for name in dict.fromkeys(names):
        found = inside.get(name, [])
        sure = any(s.interval_90.get("applied_kg", (s.applied_kg, 0.0))[0] > 0 for s in found)
        parted[_NOT_KEPT if sure else _IN_DOUBT if found else _KEPT].append(name)
    return [
        tr("{word}, by the log: {names}.", word=tr(word), names=", ".join(of))
        for word, of in parted.items()
        if of
    ]


def certainty(r: AuditResult, units: UnitSystem) -> str:
    """Say in one sentence how sure the figures are."""
    if not r.tells_places:
        return tr(
            "Nine times in ten the ground driven lies between the two figures given; "
            "what lies between the passes cannot be told from this log."
        )
    ends = r.interval_90.get("covered_area_m2")
    if ends is None:
        return tr("How far the figures may be off cannot be told from this log.")
    return tr(
        "Nine times in ten the ground truly covered is {between}, and the other figures "
        "lie in their 90 % intervals, counting what position, drill and meter may be off.",
        between=figures.between(*ends, units),
    )


def other_warnings(r: AuditResult, told: Sequence[str]) -> list[str]:
    """Count the warnings that are left to the report."""
    left = [text for text in sentences(r.findings, "warning") if text not in told]
    if not left:
        return []
    return [
        trn(
            "{count:,} more warning in the report of this job.",
            "{count:,} more warnings in the report of this job.",
            len(left),
        )
    ]


def read_from(files: Sequence[InputFile]) -> list[str]:
    """Name files with the first digits of their digests."""
    if not files:
        return []
    named = [f"{file.path} {file.sha256[:_DIGITS]}" for file in files]
    return [
        tr("Read from (SHA-256, first {digits} digits):", digits=_DIGITS),
        *(f"{n};" for n in named[:-1]),
        f"{named[-1]}.",
    ]
