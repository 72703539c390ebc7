"""The season's pages: its tables as forms, and its earlier versions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from starlette.exceptions import HTTPException

from evenacre.desk import forms
from evenacre.desk.farm import Farm
from evenacre.desk.results import results_of
from evenacre.errors import InputError
from evenacre.io.season.edit import change_season, restore, versions
from evenacre.io.season.load import read_toml
from evenacre.io.untrusted.archives import shown_below

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
    """The tables of the season, and why they cannot be read."""
    if not farm.season.exists():
        return {}, []
    try:
        return read_toml(farm.season), []
    except InputError as error:
        return {}, [str(problem) for problem in error.problems]


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
    raw = read_toml(farm.season) if farm.season.exists() else {}
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
                if home != farm.root or name != farm.season.name:
                    yield (home / name).relative_to(farm.root).as_posix()

    return sorted(islice(names(), _MOST_FILES))
