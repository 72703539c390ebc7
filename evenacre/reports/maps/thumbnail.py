"""A field's map as small as a finger: its outline, what was missed, and what was covered twice."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from evenacre.geo.overlay import outlines
from evenacre.model.audit_result import AuditResult

WIDTH, HEIGHT = 112, 84
"""Of the drawing, in pixels."""
_EDGE = 3  # pixels around it
_FINE = 0.4  # pixels a shape may be off by


def thumbnail(r: AuditResult) -> str:
    """Draw one operation as SVG paths, each of the class its shapes have on the large map."""
    field = r.layers["field"]
    west, south, east, north = field.total_bounds
    scale = max((east - west) / (WIDTH - 2 * _EDGE), (north - south) / (HEIGHT - 2 * _EDGE), 1e-9)
    corner = np.array(
        [(west + east) / 2 - scale * WIDTH / 2, (south + north) / 2 + scale * HEIGHT / 2]
    )

    def path(kind: str, shapes: list[BaseGeometry]) -> Iterator[str]:
        steps = []
        rings, _ = outlines(shapely.get_parts(np.array(shapes, dtype=object)), _FINE * scale)
        for ring in rings:
            xy = np.round((shapely.get_coordinates(ring) - corner) / scale * (1, -1), 1)
            steps.append("M" + "L".join(f"{x:g} {y:g}" for x, y in xy[:-1].tolist()) + "Z")
        if steps:
            yield f'<path class="shape {kind}" fill-rule="evenodd" d="{"".join(steps)}"/>'

    layers = r.layers
    bare = path("unworkable", [*layers["unworkable"].geometry])
    if not r.tells_places:
        return "".join([*path("ground", [*field.geometry]), *bare])
    twice = layers["overlaps"][layers["overlaps"]["area_m2"] > (2 * scale) ** 2].geometry
    return "".join(
        [
            *path("once", [*field.geometry]),
            *bare,
            *path("twice", [*twice]),
            *path("skip", [*layers["skips"].geometry]),
            *path("boundary", [*field.geometry]),
        ]
    )
