"""Words of the data in the reader's language: kinds and causes, as pages and paper show them."""

from __future__ import annotations

import re

from evenacre.language import mark, tr

_KNOWN = (
    # Kinds of what was missed, and how sure it is.
    *(mark("between passes"), mark("blocked rows"), mark("turn"), mark("edge"), mark("unworked")),
    *(mark("no log"), mark("sure"), mark("likely"), mark("look first")),
    # Whether to go back.
    *(mark("worth it"), mark("only when you are there"), mark("leave it")),
    # Why records were left out.
    *(mark("without position or time"), mark("without a time"), mark("exact repeats")),
    *(mark("same time, other place"), mark("position jumps"), mark("away from the field")),
    *(mark("the position is null (0, 0)"), mark("the position is not on earth")),
    *(mark("met"), mark("short"), mark("over")),  # of a need
    mark("together"),  # of loads
    *(mark("forage"), mark("ground"), mark("rest")),  # what a herd is short of
    # Where what is left of a load, and its rate, come from.
    *(
        mark("as given"),
        mark("by the load tickets, less what was placed since"),
        mark("the target"),
    ),
    *(mark("mean of the log"), mark("mean of the log, corrected by the scale")),
)
_NUMBERED = (
    mark("tower {first}"),
    mark("row {first}"),
    mark("rows {first}-{last}"),
    mark("row {first} off in the log"),
    mark("rows {first}-{last} off in the log"),
    mark("no log for {first} s"),
)
_PATTERNS = tuple(
    (re.compile(re.sub(r"\\{(\w+)\\}", r"(?P<\1>\\d+)", re.escape(text))), text)
    for text in _NUMBERED
)


def in_words(word: str) -> str:
    """Say a word of the data, such as a kind or a cause; what people wrote stays as it is."""
    if word in _KNOWN:
        return tr(word)
    for pattern, text in _PATTERNS:
        if found := pattern.fullmatch(word):
            return tr(text, **found.groupdict())
    return word
