"""What was planned for the machine as one HTML page, to be held against its display."""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.language import mark, tr, trn
from evenacre.model import InputFile
from evenacre.reports.pages.answer import AnswerPart, answer_page
from evenacre.reports.quantities import Display
from evenacre.reports.sentences.audit import Card
from evenacre.reports.tables.export import RATES, RateRow
from evenacre.reports.writers.as_html import page_table
from evenacre.units.display import UnitSystem

CAUTION = mark(
    "Before you drive, see on the machine's display that boundaries, zones, products and "
    "rates are those of this list. The product's label and your adviser decide what may "
    "be put on."
)


def export_page(
    jobs: Sequence[tuple[str, str]],
    rows: Sequence[RateRow],
    units: UnitSystem,
    *,
    file: str,
    farm: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
) -> str:
    """Render planned rates.

    Parameters
    ----------
    jobs : sequence of (str, str)
        Field and operation of each.
    rows : sequence of RateRow
    units : UnitSystem
    file : str
        Name of the task data.
    farm : str
    inputs : sequence of InputFile
    warnings : sequence of str
    """
    fields = list(dict.fromkeys(field for field, _ in jobs))
    told = {(row.field, row.operation) for row in rows}
    lines = [
        ("work", f"{field}: {operation}" + ("" if (field, operation) in told else tr(", no rate")))
        for field, operation in jobs
    ]
    part = AnswerPart(
        tr("Task data for the machine"),
        file,
        Card(
            tr(
                "{jobs} on {fields}",
                jobs=trn("{count:,} job", "{count:,} jobs", len(jobs)),
                fields=trn("{count:,} field", "{count:,} fields", len(fields)),
            ),
            tuple(lines),
        ),
        tables=(page_table(RATES, rows, Display(units)),) if rows else (),
    )
    return answer_page(
        [part],
        title=farm or tr("Task data"),
        about=tr("task data"),
        inputs=inputs,
        warnings=warnings,
        cautions=[tr(CAUTION)],
    )
