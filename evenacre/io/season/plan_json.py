"""Read a plan of interseeding back from its ``plan.json``."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from evenacre.errors import InputError, Problem
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.values import Date, Name
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_whole
from evenacre.language import mark, tr
from evenacre.model import InputFile, PlannedPaddock, PlannedSeeding, PlannedVisit, PlannedWindow

_SCHEMA = re.compile(r"evenacre/plan/1(\.\d+)?")
_REMEDY = mark("Give plan.json as `evenacre interseed` wrote it; if it was changed, plan again.")
_Amount = Annotated[float, Field(ge=0, le=1e12, allow_inf_nan=False)]


class _Table(BaseModel):
    """An object of the plan; keys that are not needed here are passed over."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)


class _Spell(_Table):
    first: Date
    last: Date


class _Window(_Table):
    opens: Date | None
    closes: Date | None
    back: Date | None = None
    spells: list[_Spell] | None = None


class _Done(_Table):
    date: Date | None
    area_m2: _Amount
    seed_kg: _Amount | None


class _Visit(_Table):
    date: Date
    area_m2: _Amount
    seed_kg: _Amount


class _Paddock(_Table):
    paddock: Name
    workable_m2: _Amount
    window: _Window | None
    visits: list[_Visit]
    done: list[_Done] = []
    graze_from: Date | None = None


class _Part(_Table):
    product: Name


class _Seed(_Table):
    product: Name
    parts: list[_Part] = []


class _Plan(_Table):
    seed: _Seed
    paddocks: Annotated[list[_Paddock], Field(min_length=1)]


def read_plan(path: Path) -> PlannedSeeding:
    """Read what was planned, as far as it can be held against what was done.

    Where there is no such plan that is told, else every value that is missing or wrong.
    """
    if path.is_dir():
        raise InputError.at(path, "", tr("is a folder."), tr("Name plan.json in it."))
    raw = read_whole(path, str(path), budget.SETTINGS_BYTES)
    data = _parsed(path, raw)
    _check_schema(path, data)
    problems = ProblemCollector(lambda keys: (str(path), _place(keys, data)))
    plan = problems.check(_Plan, data)
    # Names that come twice, and windows that close before they open.
    names = [paddock.paddock for paddock in plan.paddocks] if plan else []
    for i, paddock in enumerate(plan.paddocks if plan else ()):
        place: KeyPath = ("paddocks", i)
        if paddock.paddock in names[:i]:
            problems.add(
                place, tr('"{paddock}" comes twice.', paddock=paddock.paddock), tr(_REMEDY)
            )
        window = paddock.window
        if window and (window.opens is None) != (window.closes is None):
            problems.add((*place, "window"), tr("It opens or closes, but not both."), tr(_REMEDY))
        if window and any(first > last for first, last in _spells(window)):
            problems.add((*place, "window"), tr("It closes before it opens."), tr(_REMEDY))
    if plan is None or problems.problems:
        raise InputError([Problem(p.file, p.place, p.what, tr(_REMEDY)) for p in problems.problems])
    return PlannedSeeding(
        product=plan.seed.product,
        parts=tuple(part.product for part in plan.seed.parts) or (plan.seed.product,),
        paddocks=tuple(map(_paddock, plan.paddocks)),
        file=InputFile(path.name, hashlib.sha256(raw).hexdigest(), len(raw)),
    )


def _parsed(path: Path, raw: bytes) -> Any:
    def refuse(constant: str) -> object:
        raise InputError.at(
            path, "", tr("{constant} is not a number.", constant=constant), tr(_REMEDY)
        )

    try:
        data = json.loads(raw.decode("utf-8-sig"), parse_constant=refuse)
        json.dumps(data, ensure_ascii=False).encode()  # half a character (\ud800) is no text
        return data
    except UnicodeDecodeError:
        raise InputError.at(path, "", tr("is not text."), tr(_REMEDY)) from None
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        raise InputError.at(path, place, tr("It is not JSON from here on."), tr(_REMEDY)) from None
    except (RecursionError, ValueError):
        raise InputError.at(
            path, "", tr("It is no JSON that a plan can be."), tr(_REMEDY)
        ) from None


def _check_schema(path: Path, data: Any) -> None:
    schema = data.get("schema") if isinstance(data, dict) else None
    if not isinstance(schema, str):
        raise InputError.at(path, "schema", tr("It is no plan of interseeding."), tr(_REMEDY))
    if not schema.startswith("evenacre/plan/"):
        what = tr('It is no plan of interseeding but "{schema}".', schema=schema)
        raise InputError.at(path, "schema", what, tr(_REMEDY))
    if not _SCHEMA.fullmatch(schema):
        what = tr(
            'It is a plan of the form "{schema}", which this Evenacre does not know.', schema=schema
        )
        raise InputError.at(path, "schema", what, tr("Use the Evenacre that wrote it."))


def _place(keys: KeyPath, data: Any) -> str:
    """Name a value by its path: ``paddocks 2 (Creek 3), visits 1, date``."""
    words: list[str] = []
    for key in keys:
        with suppress(KeyError, IndexError, TypeError):
            data = data[key]
        if isinstance(key, int):
            name = data.get("paddock") if isinstance(data, dict) else None
            words[-1] += f" {key + 1}" + (f" ({name})" if isinstance(name, str) else "")
        else:
            words.append(key)
    return ", ".join(words)


def _spells(window: _Window) -> list[tuple[dt.date, dt.date]]:
    if window.spells is not None:
        return [(spell.first, spell.last) for spell in window.spells]
    if window.opens is None or window.closes is None:
        return []
    return [(window.opens, window.closes)]


def _paddock(paddock: _Paddock) -> PlannedPaddock:
    window = paddock.window
    visits = [PlannedVisit(v.date, v.area_m2, v.seed_kg) for v in paddock.visits]
    # A plan of the rest of a season stands for all of it.
    visits += [PlannedVisit(d.date, d.area_m2, d.seed_kg or 0.0) for d in paddock.done if d.date]
    return PlannedPaddock(
        name=paddock.paddock,
        workable_m2=paddock.workable_m2,
        window=PlannedWindow(tuple(sorted(_spells(window))), window.back) if window else None,
        visits=tuple(sorted(visits, key=lambda visit: visit.day)),
        graze_from=paddock.graze_from,
    )
