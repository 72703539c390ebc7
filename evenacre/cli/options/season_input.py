"""The season that a command's files and options stand for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenacre.errors import InputError

if TYPE_CHECKING:
    from evenacre.model import Season


def season_given(
    command: str,
    files: list[Path],
    tracks: list[Path],
    single: dict[str, Any],
    examples: tuple[str, ...],
) -> tuple[Season, Path]:
    """The season, and the folder that its result goes beside.

    Parameters
    ----------
    command : str
    files : list of Path
        A season file or task data, or further logs after ``tracks``.
    tracks : list of Path
    single : dict
        What `season_from_options` takes.
    examples : tuple of str
        What to write when there is nothing to read.

    Raises
    ------
    InputError
        When the files and options do not make a season.
    """
    from evenacre.io.season.load import load_season, season_from_options

    if tracks:
        return season_from_options(tracks=[*tracks, *files], **single), Path()
    given = sorted(key for key, value in single.items() if value)
    if len(files) == 1:
        from evenacre.io.taskdata.folder import is_taskdata

        if is_taskdata(files[0]):
            from evenacre.io.season.from_taskdata import season_from_taskdata

            return season_from_taskdata(files[0], **single), files[0].parent
        if not given:
            return load_season(files[0]), files[0].parent
    if files and given:
        flag = f"--{given[0].replace('_', '-')}"
        raise InputError.at(
            files[0], "", f"A season file does not go with {flag}.", "Put it into the file."
        )
    what = "It needs one season file, one set of task data, or logs."
    raise InputError.at(command, "", what, f"Write {' or '.join(f'`{e}`' for e in examples)}.")
