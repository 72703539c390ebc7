"""Maps that are too much: far corners, endless outlines, counts without bounds."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from pathlib import Path

from hostile.cases import SQUARE, Case, Place, collection, polygon, texts

_NEAR = SQUARE[:-1]


def _ring(*more: list[float]) -> str:
    return collection(polygon([*_NEAR, *more, SQUARE[0]]))


_FAR = {
    "latitude nothing": _ring([-92.3295, 0]),
    "nowhere": _ring([0, 0]),
    "all nowhere": collection(polygon([[0, 0]] * 5)),
    "pole": _ring([-92.33, 90]),
    "other side": _ring([87.67, 38.95]),
    "around the world": collection(polygon([[-180, 1], [180, 1], [180, 2], [-180, 2], [-180, 1]])),
    "whole world": collection(
        polygon([[-180, -90], [180, -90], [180, 90], [-180, 90], [-180, -90]])
    ),
    "swapped": collection(polygon([[y, x] for x, y in SQUARE])),
    "metres": collection(polygon([[x * 1e5, y * 1e5] for x, y in SQUARE])),
    "huge number": _ring([1e308, 0]),
    "tiny number": _ring([1e-308, 5e-324]),
    "not a number": _ring([0, 0]).replace("[0, 0]", "[NaN, NaN]"),
    "infinity": _ring([0, 0]).replace("[0, 0]", "[Infinity, -Infinity]"),
    "nothing": _ring([0, 0]).replace("[0, 0]", "[null, null]"),
    "words": _ring([0, 0]).replace("[0, 0]", '["a", "b"]'),
    "one field in each corner": collection(
        *(polygon([[x + a, y + b] for a, b in SQUARE]) for x in (0, 150) for y in (0, -100))
    ),
    "mile-long needle": collection(polygon([[-92, 38], [-91, 38], [-91, 38 + 1e-9], [-92, 38]])),
    "point for an outline": collection({"type": "Point", "coordinates": [-92, 38]}),
    "same point": collection(polygon([SQUARE[0]] * 5)),
    "empty rings": collection({"type": "Polygon", "coordinates": [[], [[]]]}),
    "short ring": collection(polygon(SQUARE[:2])),
}


def _circle(count: int, spikes: bool = False) -> list[list[float]]:
    """An outline of many vertices; with spikes, of long ones that all cross the middle."""
    points = [
        [
            round(
                -92.33 + 0.005 * (-1 if spikes and i % 2 else 1) * math.cos(i * math.tau / count), 7
            ),
            round(38.95 + 0.004 * math.sin(i * math.tau / count), 7),
        ]
        for i in range(count)
    ]
    return [*points, points[0]]


def _lines(name: str, parts: Callable[[], Iterable[str]]) -> Callable[[Place], str]:
    """A large file, written piece by piece."""

    def make(at: Place) -> str:
        path: Path = at.folder / name
        with path.open("w") as file:
            for part in parts():
                file.write(part)
        return name

    return make


def _vertices(count: int) -> Iterable[str]:
    yield '{"type":"Polygon","coordinates":[['
    for start in range(0, count, 1000):
        yield "".join(
            f"[{-92.33 + 0.005 * math.cos(i * math.tau / count):.7f},"
            f"{38.95 + 0.004 * math.sin(i * math.tau / count):.7f}],"
            for i in range(start, start + 1000)
        )
    yield "[-92.325,38.95]]]}"


def _features(count: int) -> Iterable[str]:
    shape = json.dumps(polygon())
    one = '{"type":"Feature","properties":{},"geometry":' + shape + "}"
    yield '{"type":"FeatureCollection","features":['
    for _ in range(count // 1000):
        yield (one + ",") * 1000
    yield one + "]}"


def _crossing(count: int) -> str:
    """Outlines that all cross one another."""
    strips = []
    for i in range(count):
        x, y = 0.00002 * i, 0.00002 * i
        strips.append(
            polygon([[-92.33 + x, 38], [-92.32999 + x, 38], [-92.32999 + x, 39], [-92.33 + x, 38]])
        )
        strips.append(
            polygon([[-93, 38.5 + y], [-92, 38.5 + y], [-92, 38.50001 + y], [-93, 38.5 + y]])
        )
    return collection(*strips)


def _holes(count: int) -> str:
    rings: list[list[list[float]]] = [[[-93, 38], [-92, 38], [-92, 39], [-93, 39], [-93, 38]]]
    side = math.isqrt(count)
    for i in range(count):
        x, y = -93 + (i % side + 0.1) / side, 38 + (i // side + 0.1) / side
        rings.append([[x, y], [x, y + 0.5 / side], [x + 0.5 / side, y], [x, y]])
    return collection({"type": "Polygon", "coordinates": rings})


def cases() -> list[Case]:
    """Far corners, and then much of everything."""
    wide = {f"a{i}": i for i in range(20_000)}
    many = json.loads(collection())
    many["features"][0]["properties"] = wide
    each = json.loads(collection(*[polygon()] * 3000))
    for i, feature in enumerate(each["features"]):
        feature["properties"] = {f"a{i}": 1}
    nested = collection(
        {
            "type": "GeometryCollection",
            "geometries": [{"type": "GeometryCollection", "geometries": []}] * 100_000,
        }
    )
    large: list[tuple[str, str | bytes]] = [
        ("20,000 attributes.geojson", json.dumps(many)),
        ("an attribute of its own each.geojson", json.dumps(each)),
        ("long attribute.geojson", collection().replace('"n0"', f'"{"a" * 100_000_000}"')),
        ("empty collections.geojson", nested),
        ("spikes.geojson", collection(polygon(_circle(3_001, spikes=True)))),
        ("crossing.geojson", _crossing(300)),
        ("holes.geojson", _holes(20_000)),
        ("stacked.geojson", collection(*[polygon(_circle(50))] * 3_000)),
        (
            "multipolygon of nothing.geojson",
            collection({"type": "MultiPolygon", "coordinates": [[]] * 99999}),
        ),
    ]
    return [
        *texts("map", [(f"{name}.geojson", text) for name, text in _FAR.items()], "far "),
        *texts("map", large, "much "),
        Case("half a million vertices", "map", _lines("a.geojson", lambda: _vertices(500_000))),
        Case(
            "ten million vertices",
            "map",
            _lines("a.geojson", lambda: _vertices(10_000_000)),
            heavy=True,
        ),
        Case("200,000 features", "map", _lines("a.geojson", lambda: _features(200_000))),
        Case(
            "five million features",
            "map",
            _lines("a.geojson", lambda: _features(5_000_000)),
            heavy=True,
        ),
        Case(
            "spikes beyond counting",
            "map",
            lambda at: at.write("a.geojson", collection(polygon(_circle(40_001, spikes=True)))),
            heavy=True,
        ),
    ]
