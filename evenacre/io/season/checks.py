"""Checks that several tables of a season share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.common.suggestions import choice
from evenacre.language import tr
from evenacre.units.parsing import price_currency

_SIGNS = {"€": ("EUR",), "£": ("GBP",), "¥": ("JPY", "CNY"), "$": ("USD", "CAD", "AUD", "NZD")}


def is_defined(
    name: str, kind: str, known: Iterable[str], problems: ProblemCollector, path: KeyPath
) -> bool:
    """Refuse the name of something that the season does not define."""
    if name in known:
        return True
    remedy = choice(name, known, tr("Define it under [[{kind}]].", kind=kind))
    problems.add(path, tr('There is no {kind} "{name}".', kind=kind, name=name), remedy)
    return False


def is_new(name: str, others: Iterable[str], problems: ProblemCollector, path: KeyPath) -> bool:
    """Refuse a name that another entry has."""
    if name.strip() not in others:
        return True
    problems.add(path, tr('"{name}" is defined twice.', name=name), tr("Rename one."))
    return False


def check_order(
    first: Any,
    last: Any,
    what: str,
    problems: ProblemCollector,
    path: KeyPath,
    remedy: str = "Change them over, or correct one.",
    *,
    apart: bool = False,
) -> None:
    """Refuse a last that comes before the first (or, ``apart``, with it), in these words."""
    if first is not None and last is not None and (last < first or (apart and last == first)):
        problems.add(path, what, remedy)


def check_currency(text: object, currency: str, problems: ProblemCollector, path: KeyPath) -> None:
    """Refuse a price that is not in the currency of the season."""
    written = price_currency(str(text))
    known = _SIGNS.get(written or "", (written,))
    if written is not None and currency not in known:
        problems.add(
            path,
            tr(
                '"{said}" is not in {currency}, the currency of the season.',
                said=text,
                currency=currency,
            ),
            tr(
                'Write it in {currency}, or set currency = "{known}".',
                currency=currency,
                known=known[0],
            ),
        )
