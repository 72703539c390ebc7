"""All hostile files, by family. A family is made when it is asked for: most hold megabytes."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module

from hostile.cases import Case

_HOMES = {
    "recipes and json": "pipelines",
    "xml": "services",
    "databases": "databases",
    "formats": "formats",
    "archives": "archives",
    "no files": "not_files",
    "sizes": "sizes",
    "logs": "logs",
    "seasons": "seasons",
}


def _cases(home: str) -> list[Case]:
    found: list[Case] = import_module(f"hostile.{home}").cases()
    return found


FAMILIES: dict[str, Callable[[], list[Case]]] = {
    family: partial(_cases, home) for family, home in _HOMES.items()
}
