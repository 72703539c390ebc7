"""What words of a file say its positions come from: a phone, or a receiver with corrections."""

from __future__ import annotations

import re

from evenacre.io.common.findings import Findings, one_line
from evenacre.language import tr

PHONE, CORRECTED = "phone", "corrected"
_WORDS = {
    PHONE: {"phone", "phones", "smartphone", "cellphone", "mobile", "handset", "telefon"}
    # Places that a phone makes up of what it hears.
    | {"telephone", "network", "fused"},
    CORRECTED: {"rtk", "ppk", "ppp"},
}


def receiver_said(text: str) -> str:
    """The kind of receiver that words tell, ``"phone"`` or ``"corrected"``; empty for none."""
    words = set(re.findall(r"[a-z]+", text.lower()))
    said = [kind for kind, own in _WORDS.items() if words & own]
    return said[0] if len(said) == 1 else ""


def note_receiver(kind: str, where: str, text: str, findings: Findings) -> None:
    """Say what was made of it."""
    what = tr("a phone") if kind == PHONE else tr("a receiver with corrections")
    findings.note(
        tr(
            '{where} says "{one_line}": the positions are taken to be of {what}.',
            where=where,
            one_line=one_line(text),
            what=what,
        )
    )
