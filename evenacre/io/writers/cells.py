"""Text in the cells of tables."""

from __future__ import annotations

import re
from typing import Any

from evenacre.shown_text import shown

# Spreadsheets run a cell that starts so as a formula: the signs that the OWASP page "CSV
# Injection" lists, those of full width too, behind whatever space.
_FORMULA = re.compile("\\s*[-=+@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")


def cell(value: Any) -> Any:
    """Put an apostrophe before a text that a spreadsheet would run; numbers stay numbers.

    What no reader is meant to see is left out (:func:`evenacre.shown_text.shown`).
    """
    if not isinstance(value, str):
        return value
    text = shown(value)
    return f"'{text}" if _FORMULA.match(text) else text


def without_apostrophe(text: str) -> str:
    """Return the text of a cell as it was before :func:`cell`."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text, 1) else text
