"""The season's pages: its tables as forms, and its earlier versions."""

from __future__ import annotations

import urllib.parse
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, get_args

from starlette.exceptions import HTTPException

from evenacre.desk import forms, work
from evenacre.desk.farm import Farm
from evenacre.desk.results import results_of
from evenacre.errors import InputError
from evenacre.io.common.problem_collector import fields_of
from evenacre.io.season.edit import change_season, digest_of, restore, steps_of, versions
from evenacre.io.season.load import read_toml
from evenacre.io.untrusted.archives import shown_below
from evenacre.language import ENGLISH, Tag
from evenacre.units.display import UnitSystem, unit_system

_MOST_FILES = 400


@dataclass(frozen=True)
class Place:
    """A table of the season, there or to be added.

    Attributes
    ----------
    number : int or None
        Among those of its kind; None of one to be added.
    """

    kind: forms.Kind
    number: int | None
    raw: Mapping[str, Any]
    table: Mapping[str, Any]

    @property
    def name(self) -> str:
        """What it is called."""
        if self.number is None:
            return f"{self.kind.title}, new"
        return forms.name_of(self.table, self.kind, self.number)


def season_as_read(farm: Farm) -> tuple[dict[str, Any], list[str]]:
    """The tables of the season, which are not to be changed, and why they cannot be read."""
    try:
        return tables_in(farm)[1], []
    except InputError as error:
        return {}, [str(problem) for problem in error.problems]


def tables_in(farm: Farm) -> tuple[str, dict[str, Any]]:
    """Digest of the season and its tables, which are not to be changed; of no season neither.

    Raises
    ------
    InputError
        When it cannot be read.
    """
    while seen := digest_of(farm.season):
        raw: dict[str, Any] = farm.memory.of("season", seen, lambda: read_toml(farm.season))
        if digest_of(farm.season) == seen:
            return seen, raw
        farm.memory.forget("season")  # what was read may be of either
    return "", {}


def units_of(farm: Farm) -> UnitSystem:
    """What the season counts in; US units where it does not say."""
    raw, _ = season_as_read(farm)
    return unit_system("metric" if raw.get("units") == "metric" else "us")


def language_of(farm: Farm) -> str:
    """Tag of the language that results of the season are told in."""
    raw, _ = season_as_read(farm)
    told = raw.get("language")
    return str(told) if told in get_args(Tag) else ENGLISH


def place_of(farm: Farm, kind: str, number: str) -> Place:
    """The table of an address.

    Raises
    ------
    HTTPException
        When there is none.
    InputError
        When the season cannot be read.
    """
    if kind not in forms.KINDS:
        raise HTTPException(404)
    declared = forms.KINDS[kind]
    _, raw = tables_in(farm)
    tables = forms.tables_of(raw, declared)
    if number == "new" and (declared.many or not tables):
        return Place(declared, None, raw, {})
    if not (number.isascii() and number.isdecimal() and len(number) < 6):
        raise HTTPException(404)
    if int(number) >= len(tables):
        raise HTTPException(404)
    return Place(declared, int(number), raw, tables[int(number)])


def listed(raw: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Every kind of table with the names of those there are."""
    return [
        {
            "key": key,
            "kind": kind,
            "names": [
                forms.name_of(table, kind, number)
                for number, table in enumerate(forms.tables_of(raw, kind))
            ],
        }
        for key, kind in forms.KINDS.items()
    ]


def to_mend(farm: Farm, raw: Mapping[str, Any]) -> list[dict[str, str]]:
    """What was wrong with the season as it was looked over, each with the form that mends it."""
    overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    return [
        {"text": one["text"], "address": _form_address(one["keys"], raw)}
        for one in overview["problems"]
    ]


def _form_address(keys: Sequence[str | int], raw: Mapping[str, Any]) -> str:
    """Where the form, and box, of a place in the season is; empty of one that has none."""
    kind, number, box = _place_in_forms(keys)
    if kind is None:
        return ""
    if number >= len(forms.tables_of(raw, kind)):
        return f"/season#kind-{kind.key}"
    return f"/season/{kind.key or 'farm'}/{number}#{urllib.parse.quote(box)}".rstrip("#")


def _place_in_forms(keys: Sequence[str | int]) -> tuple[forms.Kind | None, int, str]:
    """The kind of table, its number and the box that the keys of a place lead to."""
    rest = [str(key) for key in keys]
    top = forms.KINDS["farm"]
    if rest and rest[0] in fields_of(top.model) and rest[0] not in top.hidden:
        return top, 0, ".".join(rest)
    kind = forms.KINDS.get(rest.pop(0)) if rest else None
    is_numbered = kind is not None and kind.many and rest and rest[0].isdecimal()
    return kind, int(rest.pop(0)) if is_numbered else 0, ".".join(rest)


def drill_of(raw: Mapping[str, Any], field: str, job: str) -> int | None:
    """The number of the drill that a job of the season names; None where there is none."""
    jobs = forms.tables_of(raw, forms.KINDS["operation"])
    named = next((one.get("implement") for one in jobs if _names(one) == (field, job)), None)
    drills = forms.tables_of(raw, forms.KINDS["implement"])
    return next((n for n, one in enumerate(drills) if _name(one) == str(named).strip()), None)


def _names(job: Mapping[str, Any]) -> tuple[str, str]:
    return str(job.get("field")).strip(), _name(job)


def _name(table: Mapping[str, Any]) -> str:
    return str(table.get("name")).strip()


def standing_troubles(farm: Farm, place: Place) -> dict[str, str]:
    """What is wrong with a table as it stands, by box; more of it where it was looked over."""
    overview = farm.recall(work.OVERVIEW) or work.NOTHING_SEEN
    is_of_now = overview.get("season") == digest_of(farm.season)
    found: dict[str, str] = {}
    for one in overview["problems"] if is_of_now else ():
        kind, number, box = _place_in_forms(one["keys"])
        if (kind, number) == (place.kind, place.number):
            found[box] = one["says"]
    return found | forms.troubles_of(place.kind, place.table, place.table, lambda _name: True)


def troubles_of(
    farm: Farm, place: Place, given: forms.Given
) -> tuple[dict[str, Any], dict[str, str]]:
    """The table that a form says, and what is wrong with it by box."""
    table = forms.table_of(place.kind, given, place.table)

    def allowed(name: str) -> bool:
        return farm.holds(farm.root / name)

    return table, forms.troubles_of(place.kind, table, place.table, allowed)


def save(farm: Farm, place: Place, table: Mapping[str, Any], seen: str) -> None:
    """Write a table into the season; see `change_season`."""
    change_season(
        farm.season,
        seen,
        lambda document: forms.put_table(place.kind, table, document, place.number),
        farm.versions,
    )


def drop(farm: Farm, place: Place, seen: str) -> None:
    """Take a table out of the season; see `change_season`."""
    number = place.number
    if number is None or not place.kind.key:
        raise HTTPException(404)
    change_season(
        farm.season,
        seen,
        lambda document: forms.drop_table(place.kind, document, number),
        farm.versions,
    )


def bring_back(farm: Farm, name: str, seen: str) -> None:
    """Bring back a version of the season by its name; see `restore`."""
    kept = {path.stem: path for path in versions(farm.versions)}
    if name not in kept:
        raise HTTPException(404)
    restore(farm.season, seen, kept[name])


def steps_left(farm: Farm) -> dict[str, bool]:
    """Whether there is a change to undo, and one to redo, for the buttons."""
    found = steps_of(farm.season, farm.versions)
    return {"may_undo": bool(found.past), "may_redo": bool(found.ahead)}


def version_names(farm: Farm) -> list[str]:
    """Versions that differ from the season as it is, the newest first."""
    content = farm.season.read_bytes() if farm.season.exists() else b""
    kept = reversed(versions(farm.versions))
    return [path.stem for path in kept if path.read_bytes() != content]


def files_of(farm: Farm) -> list[str]:
    """Names of files in the farm's folder, as the season names them."""
    made = {(farm.root / one.place).resolve() for one in results_of(farm)}

    def names() -> Any:
        for home, folders, files in shown_below(farm.root):
            folders[:] = [one for one in folders if (home / one).resolve() not in made]
            for name in files:
                path = home / name
                leads_out = path.is_symlink() and not farm.holds(path)
                if path != farm.season and not leads_out:
                    yield path.relative_to(farm.root).as_posix()

    return sorted(islice(names(), _MOST_FILES))
