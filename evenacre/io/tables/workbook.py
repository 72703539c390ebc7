"""Spreadsheets as tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import choice, listed
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.tables.text_table import names_in, parse_table
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.archives import open_archive
from evenacre.io.untrusted.files import read_start
from evenacre.io.untrusted.map_reader import UnreadableMapError, map_reader
from evenacre.language import tr


def is_workbook(path: Path) -> bool:
    """Tell a spreadsheet from any other zip by the member that every one of them has."""
    with open_archive(path, path.name, whole=False) as archive:
        return "xl/workbook.xml" in archive.namelist()


def read_workbook(
    path: Path,
    sheet: str | None,
    rank: Callable[[Sequence[str]], int],
    findings: Findings,
) -> RecordTable:
    """Read one sheet of a spreadsheet; cells hold what was last computed.

    Parameters
    ----------
    sheet : str or None
        Its name; needed where several rank alike.
    rank : callable
        Tells by its column names how well a sheet is what is looked for.
    """
    if read_start(path, 2) == b"PK":
        with open_archive(path, path.name) as archive:
            if sum(member.file_size for member in archive.infolist()) > budget.MAP_BYTES:
                raise budget.too_large(path.name, budget.MAP_BYTES)
    try:
        found = dict(map_reader().sheets(path, path.name))
        name = _chosen(path.name, found, sheet, rank, findings)
        text = map_reader().sheet(path, name, path.name)
    except UnreadableMapError:
        raise InputError.at(
            path.name,
            "",
            tr("It could not be read as a spreadsheet."),
            tr("Save it again, or save the sheet with the log as CSV."),
        ) from None
    return parse_table(text.encode(), path.name, findings, headless=True)


def _chosen(
    file: str,
    found: dict[str, str],
    asked: str | None,
    rank: Callable[[Sequence[str]], int],
    findings: Findings,
) -> str:
    if not found:
        raise InputError.at(
            file, "", tr("None of its sheets holds a cell."), tr("Save the log again.")
        )
    if asked is not None:
        if asked not in found:
            what = tr(
                'There is no sheet "{asked}". The file has {listed}.',
                asked=asked,
                listed=listed(found),
            )
            raise InputError.at(file, "", what, choice(asked, found))
        return asked
    ranks = {name: rank(names_in(text)) for name, text in found.items()}
    best = [name for name, own in ranks.items() if own == max(ranks.values())]
    if len(best) > 1:
        raise InputError.at(
            file,
            "",
            tr("It holds several sheets that may be the log: {listed}.", listed=listed(best)),
            tr('Name one: layer = "{best}" (on the command line --tracks-layer).', best=best[0]),
        )
    if len(found) > 1:
        others = listed(name for name in found if name != best[0])
        findings.note(
            tr(
                '{file}: of its sheets "{best}" was read, because its columns are those of a '
                "log, and not {others}.",
                file=file,
                best=best[0],
                others=others,
            )
        )
    return best[0]
