"""The season that a command's files and options stand for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenacre.errors import InputError
from evenacre.io.untrusted.map_reader import map_reader
from evenacre.language import tr

if TYPE_CHECKING:
    from evenacre.model import Season

SEASON_FILES = (
    "A season file (season.toml), ISO 11783-10 task data (a zip or folder), logs of one job "
    "(with --tracks or without), or, for an audit, a folder with files of all kinds."
)


def season_given(
    command: str,
    files: list[Path],
    given: dict[str, Any],
    *examples: str,
    tasks: Sequence[str] = (),
) -> tuple[Season, Path]:
    """The season, and the folder that its result goes beside.

    Parameters
    ----------
    command : str
    files : list of Path
        A season file or task data, or logs, which may come after ``tracks``.
    given : dict
        What `season_from_options` takes.
    *examples : str
        What to write when there is nothing to read.
    tasks : sequence of str
        Of task data those to take, by id or name; all when empty.
    """
    map_reader().begin()  # it is ready by the time that the season is known
    from evenacre.io.season.from_options import as_typed, season_from_options
    from evenacre.io.season.load import is_season_file, load_season
    from evenacre.io.taskdata.folder import is_taskdata

    def is_log(file: Path) -> bool:
        return file.is_file() and not (is_season_file(file) or is_taskdata(file))

    if tasks and (given.get("tracks") or len(files) != 1):
        what = tr("It chooses tasks of one set of task data.")
        raise InputError.at("--task", "", what, tr("Name that alone, without --tracks."))
    if tasks and not is_taskdata(files[0]):
        what = tr("It is no task data, of which --task chooses tasks.")
        raise InputError.at(files[0], "", what, tr("Leave --task out."))
    if given.get("tracks") or (files and all(map(is_log, files))):
        keys = {**given, "tracks": [*given.get("tracks", ()), *files]}
        return replace(season_from_options(**keys), origin=as_typed(keys)), Path()
    if len(files) == 1:
        if is_taskdata(files[0]):
            from evenacre.io.season.from_taskdata import season_from_taskdata

            season = season_from_taskdata(files[0], tasks=tasks, **given)
            origin = (str(files[0]), *as_typed({"task": tasks, **given}))
            return replace(season, origin=origin), files[0].parent
        if not given:
            return load_season(files[0]), files[0].parent
    if files and given:
        flag = f"--{min(given).replace('_', '-')}"
        raise InputError.at(
            files[0],
            "",
            tr("A season file does not go with {flag}.", flag=flag),
            tr("Put it into the file."),
        )
    what = tr("It needs one season file, one set of task data, or logs.")
    raise InputError.at(
        command, "", what, tr("Write {names}.", names=" or ".join(f"`{e}`" for e in examples))
    )
