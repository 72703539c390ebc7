"""What the file itself says its positions come from: a phone, or a receiver with corrections."""

from __future__ import annotations

import re

from evenacre.io.common.findings import Findings, one_line
from evenacre.io.logs.columns.column_roles import ColumnPlan
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable

PHONE, CORRECTED = "phone", "corrected"
_WORDS = {
    PHONE: {"phone", "phones", "smartphone", "cellphone", "mobile", "handset", "telefon"}
    # Places that a phone makes up of what it hears.
    | {"telephone", "network", "fused"},
    CORRECTED: {"rtk", "ppk", "ppp"},
}
_COLUMNS = {"receiver", "device", "provider", "gnss", "positioning"}


def receiver_said(text: str) -> str:
    """The kind of receiver that words tell, ``"phone"`` or ``"corrected"``; empty for none."""
    words = set(re.findall(r"[a-z]+", text.lower()))
    said = [kind for kind, own in _WORDS.items() if words & own]
    return said[0] if len(said) == 1 else ""


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


def note_receiver(kind: str, where: str, text: str, findings: Findings) -> None:
    """Say what was made of it."""
    what = "a phone" if kind == PHONE else "a receiver with corrections"
    findings.note(f'{where} says "{one_line(text)}": the positions are taken to be of {what}.')
