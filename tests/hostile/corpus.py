"""All hostile files, by family."""

from __future__ import annotations

from collections.abc import Callable

from hostile import (
    archives,
    databases,
    formats,
    logs,
    not_files,
    pipelines,
    seasons,
    services,
    sizes,
)
from hostile.cases import Case

FAMILIES: dict[str, Callable[[], list[Case]]] = {
    "recipes and json": pipelines.cases,
    "xml": services.cases,
    "databases": databases.cases,
    "formats": formats.cases,
    "archives": archives.cases,
    "no files": not_files.cases,
    "sizes": sizes.cases,
    "logs": logs.cases,
    "seasons": seasons.cases,
}
