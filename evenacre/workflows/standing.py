"""A result that stands: what a run would write once more, byte for byte, is left as it is."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenacre.io.result_folder.ownership import SEAL, SUMMARY, check_replaceable, is_whole
from evenacre.io.result_folder.staging import settled_place
from evenacre.language import now_spoken
from evenacre.processes.generation_time import TOLD_TIME
from evenacre.workflows.result import Outcome

if TYPE_CHECKING:
    from collections.abc import Sequence

    from evenacre.model import Season
    from evenacre.workflows.finished import Claim, FinishedWork


@dataclass(frozen=True)
class Standing:
    """What is kept of a result.

    Attributes
    ----------
    seal : str
        Of its account, which has the digests of all other files.
    lines : tuple of str
        The answer in plain words.
    """

    seal: str
    lines: tuple[str, ...]


def claim_of_result(
    finished: FinishedWork, claims: Sequence[Claim | None], season: Season, asked: Sequence[Any]
) -> Claim | None:
    """Name a result by all that it hangs on, beside its operations ``asked`` of it."""
    shaped = replace(season, operations=(), grazing=None, seeding=None)  # no part of an audit
    return finished.together(claims, (shaped, *asked, now_spoken().tag, os.environ.get(TOLD_TIME)))


def standing_result(claim: Claim, out: Path, remarks: tuple[str, ...]) -> Outcome | None:
    """The result in its place, where it is whole and as an equal run wrote it.

    Raises
    ------
    InputError
        When the folder holds anything Evenacre did not write.
    """
    standing = claim.take(Standing)
    if standing is None:
        return None
    out = settled_place(out)
    check_replaceable(out)
    if not is_whole(out, SUMMARY):
        return None
    summary = json.loads((out / SUMMARY).read_bytes())
    if summary[SEAL] != standing.seal or not claim.holds():
        return None
    return Outcome(summary, standing.lines, remarks)


def keep_standing(claim: Claim, outcome: Outcome) -> None:
    """Keep what tells the result of this run from any other."""
    claim.keep(Standing(outcome.summary[SEAL], outcome.lines))
