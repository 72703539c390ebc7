"""The language people are answered in: texts stand in the code in English, and are looked up here.

Data keep their names (keys of JSON, heads of CSV, codes of findings): other programs read them.
Catalogues lie in ``evenacre/locale``, one for each language, as translators write them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from io import BytesIO
from numbers import Real
from string import Formatter
from typing import Any, Literal, get_args

from evenacre.errors import InputError

Tag = Literal["en", "es", "es_MX", "es_US", "es_ES"]
"""Languages there is a catalogue of, alone or with the country whose numbers are written."""

ENGLISH = "en"
DOMAIN = "evenacre"
# Where a language is named without a country: whose decimal point is meant. Who asks for Spanish
# here farms in Mexico or the United States, where it is a point; "es_ES" gets the comma.
_COUNTRY = {"es": "es_US"}


@dataclass(frozen=True)
class Language:
    """A language, and how numbers are written in it.

    Attributes
    ----------
    tag : str
    texts : NullTranslations
        Its catalogue.
    decimal, group : str
        What stands before decimals, and between thousands.
    """

    tag: str = ENGLISH
    texts: NullTranslations = field(default_factory=NullTranslations)
    decimal: str = "."
    group: str = ","

    @property
    def subtag(self) -> str:
        """As HTML, PDF and the like name it: ``es-MX``."""
        return self.tag.replace("_", "-")


@cache
def language(tag: str) -> Language:
    """Return a language with its catalogue, read as it was written.

    Parameters
    ----------
    tag : str
        One of `Tag`.

    Raises
    ------
    InputError
        For any other.
    """
    if tag not in get_args(Tag):
        what = f'There is no catalogue of the language "{tag}".'
        raise InputError.at("language", "", what, f"Use one of {', '.join(get_args(Tag))}.")
    if tag == ENGLISH:
        return Language()
    from babel import Locale
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    name = tag.partition("_")[0]
    written = files("evenacre").joinpath("locale", name, "LC_MESSAGES", f"{DOMAIN}.po")
    compiled = BytesIO()
    write_mo(compiled, read_po(BytesIO(written.read_bytes()), locale=name))
    compiled.seek(0)
    signs = Locale.parse(_COUNTRY.get(tag, tag)).number_symbols["latn"]
    return Language(tag, GNUTranslations(compiled), signs["decimal"], signs["group"])


_SPOKEN: ContextVar[Language] = ContextVar("spoken", default=Language())  # noqa: B039


def now_spoken() -> Language:
    """Return the language that is answered in."""
    return _SPOKEN.get()


@contextmanager
def spoken(chosen: Language | str) -> Iterator[None]:
    """Answer in a language, or in that of a tag."""
    token = _SPOKEN.set(language(chosen) if isinstance(chosen, str) else chosen)
    try:
        yield
    finally:
        _SPOKEN.reset(token)


def speak(chosen: str) -> None:
    """Answer in the language of a tag from now on."""
    _SPOKEN.set(language(chosen))


def mark(text: str) -> str:
    """Put a text into the catalogue that is declared before the language is known.

    It is translated where it is written, by `tr`.
    """
    return text


def tr(text: str, /, **said: object) -> str:
    """Translate a text, and put in what it says of: ``tr("{missed} of {field}", ...)``.

    Placeholders have names, since their order is the language's own.
    """
    found = _SPOKEN.get().texts.gettext(text) if text else text
    return filled(found, said) if said else found


def mark_of(kind: str, text: str) -> str:
    """Put into the catalogue a word that means something else elsewhere; `kind` says of what."""
    return text


def tr_of(kind: str, text: str) -> str:
    """Translate a word that means something else elsewhere: ``tr_of("window", "missed")``."""
    return _SPOKEN.get().texts.pgettext(kind, text)


def trn(one: str, many: str, count: int, /, **said: object) -> str:
    """Translate a text of one, or of so many, things; ``{count}`` is there to be written."""
    found = _SPOKEN.get().texts.ngettext(one, many, int(count))
    return filled(found, {"count": count, **said})


def number(value: object, spec: str = "") -> str:
    """Write a number as `format` does, with the point and the separators of the language."""
    text = format(value, spec)
    told = _SPOKEN.get()
    if (told.decimal, told.group) == (".", ","):
        return text
    return text.translate({ord("."): told.decimal, ord(","): told.group})


class Filler(Formatter):
    """Fills the placeholders of a text: numbers are written as the language has them."""

    def format_field(self, value: Any, format_spec: str) -> str:
        """Write what stands for a placeholder."""
        if isinstance(value, Real):  # those of numpy too
            text = number(value, format_spec)
            return f"{text[:-1]} %" if format_spec.endswith("%") else text
        return format(value, format_spec)


def filled(text: str, said: Mapping[str, Any]) -> str:
    """Put into a text that is translated already what it says of."""
    return Filler().vformat(text, (), said)


def enumerated(words: Iterable[str]) -> str:
    """Join words by commas, and the last by "and"."""
    every = list(words)
    if len(every) < 2:
        return "".join(every)
    return tr("{words} and {last}", words=", ".join(every[:-1]), last=every[-1])


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def date_text(day: dt.date, skeleton: str = "", english: str = "") -> str:
    """Write a day: ``"Aug 15, 2026"``, or in English as it is given; elsewhere as is usual there.

    Parameters
    ----------
    day : date
    skeleton : str, optional
        What of it, in the fields of Unicode's locale data: ``"MMMEd"``; all of it, as short as in
        English, when empty.
    english : str, optional
    """
    told = _SPOKEN.get()
    if told.tag == ENGLISH:
        return english or f"{MONTHS[day.month - 1]} {day.day}, {day.year}"
    from babel.dates import format_date, format_skeleton

    locale = _COUNTRY.get(told.tag, told.tag)
    if not skeleton:
        return format_date(day, "medium", locale=locale)
    return format_skeleton(skeleton, day, locale=locale)
