"""How a job under way comes out even, as one HTML page."""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.language import tr
from evenacre.reports.pages.answer import AnswerPart, answer_page
from evenacre.reports.sentences.audit import Card


def finish_page(
    title: str, headline: str, lines: Sequence[str], warnings: Sequence[str], png: bytes | None
) -> str:
    """Render the answer.

    Parameters
    ----------
    title : str
        The job, and what is in the cart.
    headline : str
        What to do.
    lines : sequence of str
        The rest of the answer.
    warnings : sequence of str
    png : bytes or None
        Map of what is still to be done, where there are tracks.
    """
    card = Card(headline, tuple(("work", line) for line in lines))
    picture = () if png is None else ((tr("Map of what is still to do"), png),)
    part = AnswerPart(title, "", card, pictures=picture, warnings=tuple(warnings))
    return answer_page([part], title=tr("Come out even"), about=title, inputs=())
