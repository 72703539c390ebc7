"""What the desk has done in a process of its own: gathering, looking over, auditing."""

from __future__ import annotations

import hashlib
import json
import os
import re
import sys
import traceback
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenacre.desk.farm import Farm
from evenacre.errors import InputError, Problem
from evenacre.io.season.edit import digest_of, keep_version, remarks_of
from evenacre.language import speak
from evenacre.processes import workers
from evenacre.processes.interrupts import heeded
from evenacre.processes.written import Written
from evenacre.workflows.called import OF_THE_TERMINAL

if TYPE_CHECKING:
    from evenacre.io.logs.columns.columns_read import ColumnsRead
    from evenacre.model import Field, Operation, OperationPlan, Track

OVERVIEW, GATHERED = "overview", "gathered"
"""Under these names the desk remembers what it saw, and what came with the last files."""
LOOKED_AT = "looked-at"
"""Under this name it remembers what lay in the folder of what was brought as it was gathered."""
PDF = "pdf"
"""Under this name it remembers whether an audit was last asked for on paper too."""
NOTHING_SEEN: dict[str, Any] = {
    key: [] for key in ("problems", "warnings", "fields", "operations", "places")
} | {"farm": ""}
# From the beginning of a sentence that names the option.
_NAMING_COLUMNS = re.compile(r"(?:^|(?<=[.!?] ))(?:(?![.!?] ).)*--column\b.*", re.DOTALL)
_BY_NAME = re.compile(r" Name them with --column [^()]*\([^()]*\)\.")
_CHOOSE = "It can be put right beside the job."
_SAY_BELOW = "If it is a log, take it for one below, and say what its columns are."
_DRAWN_WITHIN_M = 2.0
_MOST_POINTS = 4000
_APART_M = 100.0
_M_PER_DEGREE = 111_000.0


@dataclass(frozen=True)
class Stage:
    """What a job is at."""

    name: str
    done: int = 0
    total: int = 0


@dataclass(frozen=True)
class Ended:
    """What came of a job."""

    told: tuple[str, ...] = ()
    address: str = ""
    failed: bool = False
    wrong: Mapping[str, str] = field(default_factory=dict)  # by the box that it concerns


Say = Callable[[Stage], None]


def begin(tells: Connection, work: Callable[..., Ended], args: tuple[object, ...]) -> None:
    """Do a job in this process, and tell its stages and its end."""
    workers.begin()

    def say(stage: Stage) -> None:
        with suppress(OSError):  # nobody listens any more: the end will tell
            tells.send(stage)

    try:
        with heeded():
            ended = work(say, *args)
    except InputError as error:
        ended = Ended(tuple(_on_the_page(in_words(error.problems))), failed=True)
    except KeyboardInterrupt:
        sys.exit(1)
    except Exception as fault:
        traceback.print_exc()
        what = (
            f"A fault of Evenacre ({type(fault).__name__}), not of your files. What it says stands "
            "in the window that the desk was opened from; please report it."
        )
        ended = Ended((what,), failed=True)
    with suppress(OSError):
        tells.send(ended)


def gather(say: Say, farm: Farm) -> Ended:
    """Make the season of everything that was brought, or add to it what is new."""
    from evenacre.workflows.gather import gather as gathered
    from evenacre.workflows.gather import gathered_summary

    keep_version(farm.season, farm.versions)
    seen, came = digest_of(farm.season), farm.deliveries()
    try:
        found = gathered(farm.brought, farm.season, say=lambda name: say(Stage(name)))
    except InputError as error:
        if digest_of(farm.season) == seen:  # else it was changed meanwhile, and nothing more
            farm.remember(LOOKED_AT, came)
        raise InputError(_of_files(farm, problem) for problem in error.problems) from None
    asked = [asdict(question) for question in found.written.questions]
    summary = gathered_summary(found)
    for one in summary["not_used"]:
        one["why"] = _NAMING_COLUMNS.sub(_SAY_BELOW, one["why"])
    farm.remember(GATHERED, {**summary, "idle": found.idle, "asked": asked})
    farm.remember(LOOKED_AT, came)
    look(say, farm)
    return Ended(tuple(found.written.added) or ("Nothing is new.",), "/")


def _of_files(farm: Farm, problem: Problem) -> Problem:
    """What is wrong with all that was brought, for who can drop more and choose columns."""
    if problem.file != str(farm.brought):
        return problem
    remedy = "Bring logs and boundaries; a log that was not understood is said to be one there."
    return replace(problem, file="Bring files", what=_BY_NAME.sub("", problem.what), remedy=remedy)


def is_left(farm: Farm) -> bool:
    """Tell whether something was brought, but not gathered to the end."""
    return not set(farm.deliveries()) <= set(farm.recall(LOOKED_AT) or [])


def look(say: Say, farm: Farm) -> Ended:
    """Look the season over: what it holds, what is wrong, what was guessed, where it lies."""
    from evenacre.desk.columns import as_kept
    from evenacre.io.season.load import draft_season, read_toml
    from evenacre.io.season.load_operation import read_operation

    before = farm.recall(OVERVIEW) or {}
    known = {one["print"]: one for one in before.get("operations", [])}
    overview: dict[str, Any] = {
        "season": digest_of(farm.season),
        **NOTHING_SEEN,
        "operations": [],
    }
    try:
        raw = read_toml(farm.season)
        draft = draft_season(farm.season, must_hold="either")
    except InputError as error:
        overview["problems"] = _to_mend(error.problems)
        farm.remember(OVERVIEW, overview)
        return Ended(tuple(in_words(error.problems)), "/", failed=True)
    season, remarks = draft.season, remarks_of(farm.season)
    overview |= {
        "farm": season.farm,
        "problems": _to_mend(draft.problems),
        "warnings": list(season.warnings),
        "places": [plot.name for plot in season.fields if plot.boundary is not None],
        "fields": [
            _drawn_field(plot)
            for plot in {p.field.name: p.field for p in season.operations}.values()
        ],
    }
    for number, (plan, equipped) in enumerate(zip(season.operations, draft.equipped, strict=True)):
        say(Stage(f"reading {plan.field.name}, {plan.name}", number, len(season.operations)))
        mark = _print_of(plan, raw)
        found = known.get(mark)
        if found is None or "of_drill" not in found:
            usable = plan if equipped else replace(plan, blockage_files=())
            tables: list[ColumnsRead] = []
            operation, problems = read_operation(usable, width_needed=False, seen=tables.append)
            said: list[Operation | Track] = [operation, *operation.tracks]
            found = {
                "print": mark,
                "field": plan.field.name,
                "name": plan.name,
                "date": plan.date,
                "products": [use.product.name for use in plan.applications],
                "files": [file.name for file in plan.track_files],
                "problems": _on_the_page(in_words(p for p in problems if not of_drill(p))),
                "of_drill": in_words(filter(of_drill, problems)),
                "warnings": _on_the_page(text for one in said for text in one.warnings),
                "notes": _on_the_page(text for one in said for text in one.notes),
                "columns": [as_kept(table) for table in tables],
                "lines": [line for track in operation.tracks for line in _drawn(track)],
            }
        overview["operations"].append({**found, "guesses": _guesses(plan, remarks)})
    farm.remember(OVERVIEW, overview)
    return Ended(address="/")


def audit(say: Say, farm: Farm, chosen: Sequence[tuple[str, str]], pdf: bool = False) -> Ended:
    """Audit the season, or the jobs chosen of it by field and name, into a folder of its own.

    With ``pdf`` it gets what is to be printed and handed over as PDF too.
    """
    from evenacre.io.season.load import load_season
    from evenacre.workflows.audit import audit_season

    season = load_season(farm.season)
    speak(season.language)
    if chosen:
        wanted = set(chosen)
        kept = tuple(p for p in season.operations if (p.field.name, p.name) in wanted)
        if not kept:
            what = "None of the jobs that were ticked is in it any more."
            raise InputError.at(
                farm.season.name, "", what, "Look at the page again, and tick some."
            )
        season = replace(season, operations=kept)
    total = len(season.operations)
    folder = folder_for(farm, "audit")
    written = Written()
    outcome = audit_season(
        season,
        folder,
        jobs=os.cpu_count() or 1,
        pdf=pdf,
        progress=lambda stage, done: say(Stage(stage, done, total)),
        written=written,
    )
    told = (*outcome.lines, *outcome.remarks, *written.notes)
    return Ended(told, address_of(farm, folder))


def folder_for(farm: Farm, kind: str) -> Path:
    """A folder of its own for a result that is begun now."""
    named = f"{datetime.now():%Y-%m-%d-%H%M%S}-{kind}"
    places = (farm.results / f"{named}{more}" for more in ("", *(f"-{n}" for n in range(2, 100))))
    return next(place for place in places if not place.exists())


def address_of(farm: Farm, folder: Path) -> str:
    """Of the page that shows a result."""
    return f"/results/{folder.relative_to(farm.root).as_posix()}/open"


def in_words(problems: Iterable[Problem]) -> list[str]:
    """Problems without what they advise for a command line."""
    return [OF_THE_TERMINAL.sub("", str(at_the_drill(problem))) for problem in problems]


def of_drill(problem: Problem) -> bool:
    """Tell whether what is wrong in a file, but the season's, is missing of the drill."""
    # A place in the season has the number of the drill next.
    return problem.keys[:1] == ("implement",) and not any(isinstance(k, int) for k in problem.keys)


def at_the_drill(problem: Problem) -> Problem:
    """A problem with words that lead to the form of the drill, where it is mended there."""
    remedy = "Say it in the form of the drill, under Season."
    return replace(problem, remedy=remedy) if of_drill(problem) else problem


def _to_mend(problems: Iterable[Problem]) -> list[dict[str, Any]]:
    """Problems of the season, to be told with their place, or at the box their keys lead to."""
    return [
        {
            "text": OF_THE_TERMINAL.sub("", str(problem)),
            "says": OF_THE_TERMINAL.sub("", f"{problem.what} {problem.remedy}"),
            "keys": list(problem.keys),
        }
        for problem in problems
    ]


def _on_the_page(texts: Iterable[str]) -> list[str]:
    """Sentences that advise to name columns on a command line, for who can choose them."""
    return list(dict.fromkeys(_NAMING_COLUMNS.sub(_CHOOSE, text) for text in texts))


def _print_of(plan: OperationPlan, raw: Mapping[str, Any]) -> str:
    """Tell whether a job has to be read anew: by all that is written of it, and its files."""

    def named(kind: str, name: str) -> Any:
        tables = raw.get(kind, [])
        return [t for t in tables if isinstance(t, Mapping) and str(t.get("name")).strip() == name]

    jobs = [
        table
        for table in named("operation", plan.name)
        if str(table.get("field")).strip() == plan.field.name
    ]
    tickets = [plan.ticket_file] if plan.ticket_file else []
    files = [*plan.track_files, *plan.blockage_files, *tickets]
    stamps = [(str(f), f.stat().st_size, f.stat().st_mtime_ns) for f in files if f.exists()]
    told = [
        jobs,
        stamps,
        named("field", plan.field.name),
        *(named("implement", str(job.get("implement")).strip()) for job in jobs),
        *(named("product", use.product.name) for use in plan.applications),
        [raw.get(key) for key in ("settings", "time_zone", "units", "currency")],
    ]
    return hashlib.sha256(json.dumps(told, default=str).encode()).hexdigest()


def _guesses(plan: OperationPlan, remarks: Mapping[tuple[str, ...], list[str]]) -> list[str]:
    """What is remarked in the season file on a job, and on its field."""
    about = remarks.get(("field", plan.field.name), [])
    return [*remarks.get(("operation", plan.field.name, plan.name), []), *about]


def _drawn_field(plot: Field) -> dict[str, Any]:
    import shapely

    from evenacre.geo.geodesy import geodesic_area_m2
    from evenacre.units.display import in_both

    if plot.boundary is None:
        return {"name": plot.name, "area": "", "rings": []}
    plain = shapely.simplify(plot.boundary, _DRAWN_WITHIN_M / _M_PER_DEGREE)
    rings = [
        [[round(lat, 6), round(lon, 6)] for lon, lat in shapely.get_coordinates(ring).tolist()]
        for part in shapely.get_parts(plain)
        for ring in shapely.get_rings(part)
    ]
    area = in_both("area", geodesic_area_m2(plot.boundary))
    return {"name": plot.name, "area": area, "rings": rings}


def _drawn(track: Track) -> list[list[list[float]]]:
    """A drive as lines of latitude and longitude, as fine as a small map shows."""
    import numpy as np
    import shapely

    from evenacre.geo.geodesy import step_m

    places = np.column_stack([track.lon, track.lat])
    places = places[np.isfinite(places).all(axis=1)]
    if len(places) < 2:
        return []
    cuts = np.flatnonzero(step_m(places[:, 0], places[:, 1]) > _APART_M) + 1
    lines = []
    for part in np.split(places, cuts):
        if len(part) < 2:
            continue
        plain = shapely.simplify(shapely.LineString(part), _DRAWN_WITHIN_M / _M_PER_DEGREE)
        points = shapely.get_coordinates(plain)
        points = points[:: max(1, len(points) // _MOST_POINTS)]
        lines.append([[round(lat, 6), round(lon, 6)] for lon, lat in points.tolist()])
    return lines
