"""Options that say how to read boundaries and logs, the same for every command."""

from __future__ import annotations

from typing import Annotated

from evenacre.cli.options.shared import option

READING = "How to read the files"

Columns = Annotated[
    list[str] | None,
    option(READING, 'What a column of the log is: "flow=mass \\[lb/s]". Repeat as needed.'),
]
TimeZone = Annotated[str | None, option(READING, "Zone of local times: America/Chicago.")]
TracksLayer = Annotated[str | None, option(READING, "Layer of the log.")]
TracksCrs = Annotated[str | None, option(READING, "System of x and y: EPSG:32615.")]
BoundaryLayer = Annotated[str | None, option(READING, "Layer of the boundary.")]
BoundaryWhere = Annotated[list[str] | None, option(READING, "Pick features: NAME=VALUE.")]
BoundaryCrs = Annotated[str | None, option(READING, "System of the boundary.")]
