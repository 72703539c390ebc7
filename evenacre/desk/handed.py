"""What of a result is handed on: all of it in one zip, one job for a phone, maps to print."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from xml.etree.ElementTree import ParseError

import pandas as pd
import shapely
from defusedxml import DefusedXmlException
from defusedxml import ElementTree as Xml

from evenacre.desk.farm import Farm
from evenacre.desk.results import ShownResult, file_of
from evenacre.desk.season_pages import language_of, units_of
from evenacre.errors import InputError
from evenacre.io.result_folder.ownership import SUMMARY
from evenacre.io.untrusted.files import read_whole
from evenacre.io.writers.file_names import REPORT
from evenacre.io.writers.gpx import GPX, write_drives, write_waypoints
from evenacre.language import spoken
from evenacre.model.going_back import LEAVE

_BLOCK = 1 << 18
_STOPS, _DRIVES = "fix_list.geojson", "passes.gpx"
# What is packed already is not packed again.
_PACKED = (".png", ".tif", ".zip", ".xlsx", ".parquet")


def maps_to_print(farm: Farm, result: ShownResult) -> bytes | None:
    """Its jobs and maps as PDF; None where it has no map."""
    from evenacre.workflows import map_pages

    pictures = {
        name: path for name in result.pictures if (path := file_of(farm, result, name)) is not None
    }
    if not pictures:
        return None
    with spoken(language_of(farm)):
        return map_pages.maps_to_print(
            farm.root / result.place, pictures, units_of(farm), result.made
        )


class _Sink(io.RawIOBase):
    """Takes what a zip is written into, and hands it on block by block."""

    def __init__(self) -> None:
        super().__init__()
        self._held = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, block: object) -> int:
        before = len(self._held)
        self._held += memoryview(block)  # type: ignore[arg-type]
        return len(self._held) - before

    def taken(self) -> bytes:
        """Give what came since the last time."""
        block = bytes(self._held)
        self._held.clear()
        return block


def zipped(farm: Farm, result: ShownResult) -> Iterator[bytes]:
    """Yield a zip of every file of a result, as it is packed."""
    home = Path(result.place).name
    yield from _packed({f"{home}/{name}": (farm, result, name) for name in sorted(result.files)})


def zipped_comparison(farm: Farm, page: str, two: Sequence[ShownResult]) -> Iterator[bytes]:
    """Yield a zip of a comparison: its page, and of both audits report and account."""
    files = {
        f"comparison/{Path(result.place).name}/{name}": (farm, result, name)
        for result in two
        for name in (REPORT, SUMMARY)
    }
    yield from _packed(files, {"comparison/comparison.html": page})


def _packed(
    files: Mapping[str, tuple[Farm, ShownResult, str]], texts: Mapping[str, str] | None = None
) -> Iterator[bytes]:
    """Yield a zip of files of results, and of texts before them, as it is packed."""
    sink = _Sink()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, text in (texts or {}).items():
            packed.writestr(name, text)
            yield sink.taken()
        for name, (farm, result, file) in files.items():
            path = file_of(farm, result, file)
            if path is None:
                continue
            entry = zipfile.ZipInfo.from_file(path, name, strict_timestamps=False)
            is_packed = path.suffix.lower() in _PACKED
            entry.compress_type = zipfile.ZIP_STORED if is_packed else zipfile.ZIP_DEFLATED
            with packed.open(entry, "w", force_zip64=True) as target, path.open("rb") as source:
                while block := source.read(_BLOCK):
                    target.write(block)
                    yield sink.taken()
    yield sink.taken()


def for_phone(farm: Farm, result: ShownResult) -> dict[str, bytes]:
    """The places or passes of each job of a result, as GPX by the job's name."""
    stops, drives = (file_of(farm, result, name) for name in (_STOPS, _DRIVES))
    try:
        if stops is not None:
            return _by_job(stops)
        return {} if drives is None else _by_field(drives)
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}  # somebody changed it; it is still among the files


def _by_job(path: Path) -> dict[str, bytes]:
    features = json.loads(read_whole(path))["features"]
    rows = [
        {**feature["properties"], **dict(zip(("lon", "lat"), _point(feature), strict=True))}
        for feature in features
        if feature["properties"].get("verdict") != LEAVE
    ]
    if not rows:
        return {}
    found = {}
    for (field, operation), stops in pd.DataFrame(rows).groupby(["field", "operation"], sort=False):
        gpx = io.BytesIO()
        write_waypoints(gpx, stops)
        found[f"{field}, {operation}"] = gpx.getvalue()
    return found


def _point(feature: dict[str, dict[str, list[float]]]) -> tuple[float, float]:
    lon, lat = feature["geometry"]["coordinates"]
    return float(lon), float(lat)


def _by_field(path: Path) -> dict[str, bytes]:
    try:
        root = Xml.fromstring(read_whole(path))
    except (ParseError, DefusedXmlException):
        return {}
    found = {}
    for track in root.iter(f"{{{GPX}}}trk"):
        lines = [
            shapely.LineString([(float(p.attrib["lon"]), float(p.attrib["lat"])) for p in segment])
            for segment in track.iter(f"{{{GPX}}}trkseg")
            if len(segment) > 1
        ]
        name = track.findtext(f"{{{GPX}}}name") or "passes"
        gpx = io.BytesIO()
        write_drives(gpx, [(name, lines)])
        found[name] = gpx.getvalue()
    return found
