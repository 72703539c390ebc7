"""The words of every finding, from what says them."""

from __future__ import annotations

from string import Formatter

from evenacre.reports.sentences.findings import REFUSALS, SENTENCES

_UNITS = ("_m2", "_m", "_kg", "_mps", "_s")


def findings() -> str:
    """What each code says; names stand for the figures of the case."""
    words = {**SENTENCES, **{code: " ".join(parts) for code, parts in REFUSALS.items()}}
    rows = (f"| `{code}` | {_shown(words[code])} |" for code in words)
    return "\n".join(["| code | what it says |", "|---|---|", *rows]) + "\n"


def _shown(words: str) -> str:
    parts = []
    for text, name, style, _ in Formatter().parse(words):
        parts.append(text)
        if name:
            plain = next((name.removesuffix(u) for u in _UNITS if name.endswith(u)), name)
            # The remedy of a cause stands for itself.
            parts.append(f"*{style if style == 'remedy' else plain.replace('_', ' ')}*")
    return "".join(parts).replace("|", "\\|")
