"""An answer as one HTML page: cards first, then what each stands on; for jobs without live maps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from evenacre.model import InputFile
from evenacre.reports.pages.frame import page
from evenacre.reports.sentences.audit import Card
from evenacre.reports.writers.as_html import PageTable


@dataclass(frozen=True)
class AnswerPart:
    """What is told of one field, or of one job.

    Attributes
    ----------
    title, about : str
        What it is about, and more of it in small letters.
    card : Card
        The answer.
    pictures : tuple of (str, bytes)
        Each with what it shows, and its PNG.
    tables : tuple of PageTable
    warnings, notes, cautions : tuple of str
    """

    title: str
    about: str
    card: Card
    pictures: tuple[tuple[str, bytes], ...] = ()
    tables: tuple[PageTable, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def answer_page(
    parts: Sequence[AnswerPart],
    *,
    title: str,
    about: str,
    inputs: Sequence[InputFile],
    warnings: Sequence[str] = (),
    method: Sequence[str] = (),
    cautions: Sequence[str] = (),
) -> str:
    """Render answers.

    Parameters
    ----------
    parts : sequence of AnswerPart
    title, about : str
        Of the page: the farm, and what was done.
    inputs : sequence of InputFile
    warnings, method, cautions : sequence of str
        Of all of them together.
    """
    return page(
        "answer.html.j2",
        title=title,
        about=about,
        parts=parts,
        inputs=inputs,
        warnings=warnings,
        method=method,
        cautions=cautions,
    )
