"""Gather whom and what sheets are for: landlords of fields, practices of operations."""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.schema import FieldTable, OperationTable, SeasonTable
from evenacre.language import tr
from evenacre.model import Handover, Practice


def handover_of(
    top: SeasonTable,
    fields: Sequence[FieldTable],
    operations: Sequence[tuple[KeyPath, OperationTable]],
    problems: ProblemCollector,
) -> Handover:
    """Say what sheets go by; the code of a practice holds for all its operations.

    Names that differ in capitals alone are one, spelt as they come first.
    """
    spelt: dict[str, str] = {}
    codes: dict[str, str] = {}
    for path, job in operations:
        if job.practice_code is None:
            continue
        place = (*path, "practice_code")
        if job.practice is None:
            what = tr("A code goes with a practice, and none is named.")
            problems.add(place, what, tr('Add practice = "Cover crop".'))
        elif codes.setdefault(job.practice.casefold(), job.practice_code) != job.practice_code:
            code = codes[job.practice.casefold()]
            what = tr(
                'The practice "{practice}" has another code before: {code}.',
                practice=job.practice,
                code=code,
            )
            remedy = tr("Correct one of them, or name the practices apart.")
            problems.add(place, what, remedy)

    def one_spelling(name: str) -> str:
        return spelt.setdefault(name.casefold(), name)

    return Handover(
        paper=top.paper,
        contact=top.contact or "",
        landlord_costs=top.landlord_costs,
        landlords={f.name: one_spelling(f.landlord) for f in fields if f.landlord},
        practices={
            (job.field, job.name): Practice(
                one_spelling(job.practice), codes.get(job.practice.casefold(), "")
            )
            for _, job in operations
            if job.practice
        },
    )
