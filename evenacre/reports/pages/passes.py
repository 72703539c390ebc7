"""Planned passes as one HTML page that opens without a network."""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.language import tr
from evenacre.model import InputFile
from evenacre.planning.passes.pass_types import PassPlan
from evenacre.reports.pages.answer import AnswerPart, answer_page
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.findings import sentences
from evenacre.reports.sentences.passes import (
    LOOK_FIRST,
    pass_card,
    pass_cautions,
    pass_notes,
    tool_sentence,
)
from evenacre.reports.tables.passes import DRIVE_OF_FIELD
from evenacre.reports.writers.as_html import page_record
from evenacre.units.display import UnitSystem


def passes_page(
    plans: Sequence[PassPlan],
    maps: Sequence[bytes],
    units: UnitSystem,
    *,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
) -> str:
    """Render planned passes: for each field the answer, its map, its figures and findings.

    Parameters
    ----------
    plans : sequence of PassPlan
    maps : sequence of bytes
        The printed map of each, as PNG.
    units : UnitSystem
    farm : str
    inputs : sequence of InputFile
    warnings : sequence of str
        Of the inputs.
    """
    display = Display(units)
    parts = [
        AnswerPart(
            plan.field,
            units.area.text(plan.workable_m2),
            pass_card(plan, units),
            pictures=((tr("Map of the passes over {field}", field=plan.field), png),),
            tables=(page_record(DRIVE_OF_FIELD, plan, display),) if plan.passes else (),
            warnings=tuple(sentences(plan.findings, "warning")),
            notes=tuple(pass_notes(plan)),
            cautions=tuple(pass_cautions(plan, units)),
        )
        for plan, png in zip(plans, maps, strict=True)
    ]
    return answer_page(
        parts,
        title=farm or tr("Passes"),
        about=tr("planned passes"),
        inputs=inputs,
        warnings=warnings,
        method=[tool_sentence(plans, units)],
        cautions=[tr(LOOK_FIRST)] if any(part.cautions for part in parts) else [],
    )
