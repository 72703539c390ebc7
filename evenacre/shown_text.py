"""Text as every file and screen can hold it: no signs that command, mislead or break."""

from __future__ import annotations

import re

# Control characters but tab and line feed, which a terminal obeys and XML 1.0 cannot hold; halves
# of surrogate pairs, which UTF-8 cannot hold; code points that Unicode keeps for no character;
# and the embeddings, overrides and isolates that show the text around them in another order.
_UNSHOWN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\u202a-\u202e\u2066-\u2069"
    + "".join(chr(plane << 16 | end) for plane in range(17) for end in (0xFFFE, 0xFFFF))
    + "]"
)
_SURROGATE = re.compile("[\ud800-\udfff]")


def shown(text: str) -> str:
    """Leave out what no reader of a text is meant to see.

    Parameters
    ----------
    text : str
        Names and words from anywhere: files, their names, the command line.

    Returns
    -------
    str
        The same without control characters (tabs and line feeds stay), lone surrogates,
        noncharacters, and the signs that turn the direction of the text around them.
    """
    return _UNSHOWN.sub("", text)


def shortened(text: str, most: int = 600) -> str:
    """Write a text that repeats what stands in a file on one line, its middle left out if long."""
    line = text.replace("\n", " ")
    return line if len(line) <= most else f"{line[: most // 2]} ... {line[-most // 2 :]}"


def escaped_in_json(text: str) -> str:
    r"""Write such signs in a JSON text as ``\u202e``, so that names are read back as they were.

    Lone surrogates, which strict readers refuse even so, become U+FFFD.
    """
    return _UNSHOWN.sub(_escape, _SURROGATE.sub("\ufffd", text))


def _escape(found: re.Match[str]) -> str:
    return "".join(f"\\u{unit:04x}" for unit in _utf16(found.group()))


def _utf16(sign: str) -> tuple[int, ...]:
    data = sign.encode("utf-16-be")
    return tuple(int.from_bytes(data[i : i + 2], "big") for i in range(0, len(data), 2))
