"""What to say of a wrong word: what a misspelt word may have meant, lists cut to a line."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from evenacre.language import tr


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``Did you mean "x"?`` for the nearest known word, or an empty text."""
    names = list(known)
    by_lower = {name.lower(): name for name in reversed(names)}
    near = difflib.get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return tr('Did you mean "{by_lower}"?', by_lower=by_lower[near[0]]) if near else ""


def listed(words: Iterable[object], most: int = 12, mark: str = '"') -> str:
    """Join words for a sentence, each between marks, cut after so many."""
    names = [str(word) for word in words]
    more = f" and {len(names) - most:,} more" if len(names) > most else ""
    return ", ".join(f"{mark}{name}{mark}" for name in names[:most]) + more


def choice(word: str, known: Iterable[str], none: str = "None are defined.") -> str:
    """Return the remedy for an unknown word: the nearest known one, else all of them."""
    names = [name for name in known if name]
    return did_you_mean(word, names) or (
        tr("Use one of {listed}.", listed=listed(names)) if names else none
    )
