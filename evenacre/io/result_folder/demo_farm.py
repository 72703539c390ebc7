"""The sample farm in its folder: put there whole, and never over a file that was changed."""

from __future__ import annotations

import filecmp
import os
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import NEW, flush, flush_tree
from evenacre.io.result_folder.ownership import entries_of
from evenacre.io.result_folder.staging import disk_troubles_told, parents_made, settled_place
from evenacre.io.result_folder.workplace import workplace
from evenacre.processes.interrupts import held
from evenacre.processes.written import Written, named

_OTHER = "evenacre demo FOLDER"
_REMEDY = f"Name a new folder: {_OTHER}."


def put_farm(directory: Path, write: Callable[[Path], None], mark: str, written: Written) -> None:
    """Write a sample farm beside its place, and put there what is missing.

    The directory is made when it is missing; files in it that are not the farm's stay as they
    are. ``write`` writes the farm into a folder, the same bytes every time; only a sample farm has
    a file of the name ``mark``.

    Raises
    ------
    InputError
        Rather than write into someone's own season; when the disk does not take it.
    """
    directory = settled_place(directory)
    with ExitStack() as stack:
        stack.enter_context(disk_troubles_told(directory, _OTHER))
        if directory.exists() and not directory.is_dir():
            raise InputError.at(directory, "", "is a file, not a folder.", _REMEDY)
        if directory.is_dir() and any(directory.iterdir()) and not (directory / mark).is_file():
            what = "is not empty and holds no sample farm."
            raise InputError.at(directory, "", what, _REMEDY)
        stack.enter_context(parents_made(directory))
        fresh = stack.enter_context(workplace(directory, written, f"folder: {_OTHER}")) / NEW
        fresh.mkdir()
        write(fresh)
        flush_tree(fresh)
        with held():
            if os.path.lexists(directory):
                _fill(directory, fresh, mark, written)
            else:
                fresh.rename(directory)
                written.places.append(directory)
            flush([directory.parent])


def _fill(folder: Path, fresh: Path, mark: str, written: Written) -> None:
    """Put what is missing into a folder that is there, perhaps with a terminal open in it."""
    differing = []
    files = dict(entries_of(fresh))
    # The mark comes first: with it, a farm that was cut short can be begun again.
    for file in sorted(files, key=lambda file: (file != mark, file)):
        place = folder / file
        if not os.path.lexists(place):
            place.parent.mkdir(parents=True, exist_ok=True)
            files[file].rename(place)
            if folder not in written.places:
                written.places.append(folder)
        elif not place.is_file() or not filecmp.cmp(place, files[file], shallow=False):
            differing.append(file)
    if differing:
        what = "files that differ from the sample farm's stay and are used as they are"
        written.notes.append(f"{folder.name}: {what}: {named(differing)}.")
