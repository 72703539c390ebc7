"""A column that says what its positions come from."""

from __future__ import annotations

from evenacre.io.common.findings import Findings
from evenacre.io.common.receiver_words import note_receiver, receiver_said
from evenacre.io.logs.columns.column_roles import ColumnPlan
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable

_COLUMNS = {"receiver", "device", "provider", "gnss", "positioning"}


def receiver_of(table: RecordTable, plan: ColumnPlan, findings: Findings) -> tuple[str, str]:
    """The kind of receiver that a column of words tells, one in every record, and the column."""
    used = {use.column for use in plan.uses}
    for name in table.names:
        if name in used or not _COLUMNS & set(read_header(name).words) or table.is_empty(name):
            continue
        said = {receiver_said(text) for text in set(table.words(name)) - {""}}
        if len(said) == 1 and (kind := said.pop()):
            note_receiver(kind, f'{table.file}: column "{name}"', table.first_text(name), findings)
            return kind, name
    return "", ""
