"""From a stick to a season file: what was found, what was made of it, and its writing."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import flush, flush_tree
from evenacre.io.result_folder.staging import disk_troubles_told, parents_made, settled_place
from evenacre.io.result_folder.workplace import workplace
from evenacre.io.season.files import parts_of
from evenacre.io.season.from_options import ToldOfStick, goes_with_stick, told_of_stick
from evenacre.io.season.load import load_season
from evenacre.io.stick.files import Stick, holds_several_logs, is_stick
from evenacre.io.stick.gather import BACKUP, Gathering, gathering, own_files
from evenacre.io.stick.identify import Kind, look_at
from evenacre.io.stick.known import read_known
from evenacre.model import Season
from evenacre.processes.interrupts import committing
from evenacre.processes.written import Written

SEASON = "season.toml"
_USEFUL = {Kind.LOG, Kind.TASK_DATA, Kind.MAP, Kind.TICKETS, Kind.BLOCKAGES}
_SAID = (Kind.UNKNOWN, Kind.UNUSED, Kind.RESULT, Kind.COPY)
_MOST_NAMED = 12


def season_place(root: Path, out: Path | None) -> Path:
    """Where the season of a stick goes: into the folder, or into one named after the zip."""
    if out is not None:
        return out if out.suffix.lower() == ".toml" else out / SEASON
    return (root if root.is_dir() else root.with_suffix("")) / SEASON


def gather(
    root: Path,
    season: Path,
    *,
    say: Callable[[str], None] = lambda _stage: None,
    written: Written | None = None,
    told: ToldOfStick | None = None,
) -> Gathering:
    """Gather a folder or zip into a season file.

    Parameters
    ----------
    root : Path
    season : Path
        It is written whole or not at all; the version before stays beside it.
    say : callable
        Told what is being read.
    written : Written, optional
        Told what was written.
    told : ToldOfStick, optional
        What somebody says of all the files.

    Raises
    ------
    InputError
        When nothing was found, or the season cannot be read or written.
    """
    with gathering(root, settled_place(season), say, told) as found:
        if not (found.jobs or found.before):
            what = f"There is no log in it, only {_counts(found)}."
            raise InputError.at(root, "", what, "Put the logs of the drives beside them.")
        if found.changes:
            _put(found, written or Written())
    return found


def is_to_be_gathered(path: Path, given: Collection[str]) -> bool:
    """Tell a folder or zip to be gathered from a file to be read, as the options allow."""
    if given and not path.is_dir() and not all(map(goes_with_stick, given)):
        return False
    return is_stick(path) and (not given or holds_several_logs(path))


@contextmanager
def gathered_season(root: Path, options: Mapping[str, Any]) -> Iterator[Season]:
    """Take the season of a folder or zip, gathered where there is none; nothing is written to it.

    Parameters
    ----------
    root : Path
    options : mapping of str to object
        What is told of drill, products and clock, by the names of the command line's options.

    Yields
    ------
    Season
        Whose files are there to be read until the block ends; what gathering left open or out is
        among its warnings.
    """
    told = told_of_stick(**options) if options else None
    there = season_place(root, None)
    if there.exists():
        if told is not None:
            raise season_is_there(there, next(iter(options)))
        fresh = new_files(root, there)
        season = load_season(there)
        asked = [f"{there.name} knows nothing of {_some(fresh)}."] if fresh else []
        yield replace(season, warnings=(*season.warnings, *asked))
        return
    with tempfile.TemporaryDirectory(prefix="evenacre-") as scratch:
        path = Path(scratch, SEASON)
        found = gather(root, path, told=told)
        season = load_season(path)
        said = [f"{one.piece.drive.name} is left out: {one.why}." for one in found.left_out]
        said += [f"{o.name}: {o.why}" for o in found.passed_over if o.kind in _SAID[:2]]
        home = Path(os.path.relpath(root.absolute(), scratch)).as_posix() + "/"
        yield replace(
            season,
            origin=(),
            inputs=tuple(
                replace(file, path=file.path.removeprefix(home))
                for file in season.inputs
                if file.path != SEASON
            ),
            warnings=(*season.warnings, *said, *found.doubts),
        )


def season_is_there(season: Path, option: str) -> InputError:
    """Refuse an option beside a season that is written already."""
    flag = f"--{option.replace('_', '-')}"
    what = f"The season of these files is there already; it does not go with {flag}."
    return InputError.at(season, "", what, "Put it into the file.")


def preview(root: Path, say: Callable[[str], None] = lambda _stage: None) -> Gathering:
    """Say what would be gathered, and write nothing."""
    with gathering(root, settled_place(season_place(root, None)), say) as found:
        return found


def new_files(
    root: Path, season: Path, say: Callable[[str], None] = lambda _stage: None
) -> list[str]:
    """Name the files below a folder that a season has neither taken in nor left out."""
    known = read_known(settled_place(season))
    stick = Stick(root, own_files(season))
    seen = {*known.gathered.values(), *(track.sha256[:16] for track in known.tracks)}
    with stick.opened():
        fresh = [file for file in stick.files(say) if file.sha256[:16] not in seen]
        kinds = {file.name: {one.kind for one in look_at(file.path)} for file in fresh}
        return [name for name, found in kinds.items() if found & _USEFUL]


def _put(found: Gathering, written: Written) -> None:
    """Put copies and season in their places, the season last."""
    season = found.season
    with ExitStack() as stack:
        stack.enter_context(disk_troubles_told(season))
        stack.enter_context(parents_made(season))
        job = stack.enter_context(workplace(season, written))
        staged: list[tuple[Path, Path]] = []
        for number, (place, file) in enumerate(found.written.copies.items()):
            target = season.parent / place
            for part in parts_of(file.path):
                to = target if part == file.path else target.with_name(part.name)
                staged.append((job / f"{number}-{len(staged)}", to))
                shutil.copyfile(part, staged[-1][0])
        for place, text in found.written.drawn.items():
            staged.append((job / f"drawn-{len(staged)}", season.parent / place))
            staged[-1][0].write_text(text, encoding="utf-8")
        fresh = job / SEASON
        fresh.write_text(found.text, encoding="utf-8", newline="\n")
        flush_tree(job)
        with committing():
            _exchange(found, fresh, staged, written)


def _exchange(
    found: Gathering, fresh: Path, staged: list[tuple[Path, Path]], written: Written
) -> None:
    season = found.season
    if (season.read_bytes() if season.exists() else b"") != found.known.content:
        what = "It was changed while the files were read."
        raise InputError.at(season.name, "", what, "Gather again; nothing was written.")
    made: list[Path] = []
    try:
        for source, target in staged:
            if not target.exists():
                target.parent.mkdir(parents=True, exist_ok=True)
                source.rename(target)
                made.append(target)
        if season.exists():
            backup = season.with_name(season.name + BACKUP)
            shutil.copy2(season, fresh.with_name("before"))
            fresh.with_name("before").replace(backup)
            shutil.copymode(season, fresh)
        fresh.replace(season)
    except BaseException:
        for target in made:
            target.unlink(missing_ok=True)
            with suppress(OSError):
                os.removedirs(target.parent)
        raise
    flush([season.parent])
    written.places.append(season)


def gathered_lines(found: Gathering, *, wrote: bool) -> list[str]:
    """What was found and made of it, for a terminal."""
    lines = [f"{found.root.resolve().name}: {_counts(found)}."]
    fields: dict[str, list[str]] = {}
    for job in found.jobs:
        logs = [piece.drive.name for piece in job.pieces]
        day = job.first_day(found.known.time_zone)
        about = f"{job.name}{f', {day}' if day else ''}: {_some(logs)}"
        fields.setdefault(job.plot.name, []).append(about)
    for name, jobs in fields.items():
        lines += [f"  {name}", *(f"    {job}" for job in jobs)]
    if found.left_out:
        lines.append("Left out, so that no ground counts twice:")
        lines += [f"  {one.piece.drive.name}: {one.why}." for one in found.left_out]
    said = [one for one in found.passed_over if one.kind in _SAID]
    if said:
        lines.append("Not used:")
        lines += [f"  {one.name}: {one.why}" for one in said]
    others = [one.name for one in found.passed_over if one.kind not in _SAID]
    if others:
        lines.append(f"Pictures and documents, not used: {_some(others)}.")
    lines += found.idle
    if wrote and found.before:
        lines.append(f"Added to {found.season.name}:" if found.written.added else "Nothing is new.")
        lines += [f"  {text}" for text in found.written.added]
    if wrote and found.changes:
        before = f" The version before is {found.season.name}{BACKUP}." if found.before else ""
        lines.append(f"Wrote {found.season}.{before}")
    if found.written.questions:
        lines.append("To fill in:")
        lines += [f"  - {text}" for text in found.written.questions]
    return lines


def gathered_summary(found: Gathering) -> dict[str, Any]:
    """The same as JSON types."""
    return {
        "season": str(found.season),
        "files": {kind.value: names for kind, names in found.files.items()},
        "operations": [
            {
                "field": job.plot.name,
                "operation": job.name,
                "date": job.first_day(found.known.time_zone),
                "logs": [piece.drive.name for piece in job.pieces],
                "products": list(job.products),
                "is_new": job.known is None,
            }
            for job in found.jobs
        ],
        "left_out": [{"log": o.piece.drive.name, "why": o.why} for o in found.left_out],
        "not_used": [
            {"file": o.name, "kind": o.kind.value, "why": o.why} for o in found.passed_over
        ],
        "added": found.written.added,
        "to_fill_in": [str(question) for question in found.written.questions],
    }


def _counts(found: Gathering) -> str:
    kinds = [kind for kind in _NOUNS if found.files.get(kind)]
    return ", ".join(
        f"{len(found.files[kind]):,} {_NOUNS[kind][len(found.files[kind]) > 1]}" for kind in kinds
    )


_NOUNS = {
    Kind.LOG: ("log", "logs"),
    Kind.TASK_DATA: ("set of task data", "sets of task data"),
    Kind.MAP: ("map layer", "map layers"),
    Kind.TICKETS: ("table of tickets", "tables of tickets"),
    Kind.BLOCKAGES: ("table of blockages", "tables of blockages"),
    Kind.SEASON: ("season file", "season files"),
    Kind.PICTURE: ("picture", "pictures"),
    Kind.DOCUMENT: ("document", "documents"),
    Kind.UNKNOWN: ("file not understood", "files not understood"),
}


def _some(names: list[str]) -> str:
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
