"""Text in the cells of tables and layers."""

from __future__ import annotations

import re
from typing import Any

import geopandas as gpd
import pandas as pd

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


def shown_frame(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Leave out of every text of a layer, and of its columns' names, what nobody should see."""
    texts = [n for n, kind in frame.dtypes.items() if pd.api.types.is_string_dtype(kind)]
    clean = {n: [shown(v) if isinstance(v, str) else v for v in frame[n]] for n in texts}
    return frame.assign(**clean).rename(columns=shown)
