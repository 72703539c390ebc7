"""Bring the catalogues of languages up to what the code says: ``make catalogue``.

Texts are taken from calls of `tr`, `trn` and `mark` in the code and of `tr` and `trn` in the
templates, and from declared figures: their heads, titles and remarks. What is new waits for its
translation in ``evenacre/locale/*/LC_MESSAGES/evenacre.po``; what is gone is dropped.
``python tools/catalogue.py pt`` begins the catalogue of another language.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
import sys
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import IO

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from evenacre.language import DOMAIN, ENGLISH
from evenacre.reports import tables
from evenacre.reports.column import Table

HERE = Path(__file__).parent.parent
PACKAGE = HERE / "evenacre"
LOCALES = PACKAGE / "locale"
_OF_KIND = ((1, "c"), 2)
_KEYWORDS = {"tr": None, "trn": (1, 2), "mark": None, "tr_of": _OF_KIND, "mark_of": _OF_KIND}
_WIDTH = 100
_Found = tuple[int, str, list[str], list[str]]


def _called(
    lines: IO[bytes], keywords: Collection[str], _tags: object, options: object
) -> Iterator[_Found]:
    """Texts of calls in a module, those within f-strings too, which Babel's own reader skips."""
    calls = (node for node in ast.walk(ast.parse(lines.read())) if isinstance(node, ast.Call))
    for call in sorted(calls, key=lambda call: (call.lineno, call.col_offset)):
        if isinstance(call.func, ast.Name) and call.func.id in keywords:
            given = [one.value for one in call.args if isinstance(one, ast.Constant)]
            texts = [value for value in given if isinstance(value, str)]
            if texts:
                yield call.lineno, call.func.id, texts, []


_METHODS = [("**.py", _called), ("**.j2", "jinja2")]


def template() -> Catalog:
    """Every text of the code, in the order of files."""
    found = Catalog(project=DOMAIN, charset="utf-8")
    texts = [
        (text, place, context)
        for place, _line, text, _comments, context in extract_from_dir(
            PACKAGE, _METHODS, keywords=_KEYWORDS, comment_tags=()
        )
    ]
    texts += [(text, place, None) for text, place in _declared()]
    for text, place, context in texts:
        found.add(text, locations=[(f"evenacre/{place}", 0)], context=context)
    return found


def _declared() -> Iterator[tuple[str, str]]:
    """What declared figures are called on pages, and where that is."""
    for module in pkgutil.iter_modules(tables.__path__):
        place = f"reports/tables/{module.name}.py"
        held = vars(importlib.import_module(f"{tables.__name__}.{module.name}"))
        for table in (value for value in held.values() if isinstance(value, Table)):
            heads = (column.head for column in table.of("page"))
            means = (column.means for column in table.columns)
            for text in (table.title, table.remark, *heads, *means):
                if isinstance(text, str) and text:
                    yield text, place


def updated(language: str) -> Catalog:
    """The catalogue of a language, with the texts of the code as it is."""
    file = LOCALES / language / "LC_MESSAGES" / f"{DOMAIN}.po"
    if file.is_file():
        with file.open("rb") as lines:
            kept = read_po(lines, locale=language, domain=DOMAIN)
    else:
        kept = Catalog(locale=language, domain=DOMAIN, charset="utf-8", fuzzy=False)
    kept.update(template(), no_fuzzy_matching=True, update_creation_date=False)
    kept.obsolete.clear()
    return kept


def untranslated(catalogue: Catalog) -> list[Message]:
    """What waits for a translation."""
    return [one for one in catalogue if one.id and not all(_parts(one.string))]


def _parts(text: str | tuple[str, ...]) -> tuple[str, ...]:
    return text if isinstance(text, tuple) else (text,)


def main(languages: list[str]) -> None:
    """Write catalogues, and say what is left to do in each."""
    known = sorted(place.name for place in LOCALES.iterdir() if place.is_dir())
    for language in dict.fromkeys([*known, *languages]):
        if language == ENGLISH:
            continue
        catalogue = updated(language)
        file = LOCALES / language / "LC_MESSAGES" / f"{DOMAIN}.po"
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("wb") as out:
            write_po(out, catalogue, width=_WIDTH, include_lineno=False)
        print(f"{file.relative_to(HERE)}: {len(untranslated(catalogue))} texts to translate")


if __name__ == "__main__":
    main(sys.argv[1:])
