"""JSON for files and standard output (RFC 8259)."""

from __future__ import annotations

import json

from evenacre.shown_text import escaped_in_json


def json_text(value: object, indent: int = 2) -> str:
    """Write JSON types as text that strict readers take and a terminal can show.

    NaN and infinities, which JSON does not have, are a ValueError.
    """
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, indent=indent)
    return escaped_in_json(text)
