"""How an option is declared: what annotates a field of a dataclass of options."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Typed:
    """What is said of an option where somebody is to type it; one that is a bool has no value.

    Attributes
    ----------
    heading : str
        It stands with others under this.
    text : str
        What is to be typed, with an example.
    flag : str
        On the command line, where it is not the field's name.
    """

    heading: str
    text: str
    flag: str = ""
