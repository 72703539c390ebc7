"""The process that opens map files, one request a line, with bounds on what it may use.

Whatever a file makes of GDAL, SQLite or Arrow stays in here: the process can write no file,
has a fixed amount of memory over what it starts with, and ends itself when a request takes
longer than allowed. It answers in Arrow, so nothing that it says is run.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import warnings
from pathlib import Path
from typing import Any, BinaryIO

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pyproj
import shapely

from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import read_start
from evenacre.io.untrusted.gdal import allow_only, close_ways_out
from evenacre.io.untrusted.kinds import LOOKED_AT, MapKind, map_kind, points_elsewhere
from evenacre.io.untrusted.map_checks import check_geojson, check_geopackage, count_layers
from evenacre.io.untrusted.workbook import sheet, sheets
from evenacre.language import tr

GEOMETRY = "geometry"
READY = b"ready\n"
_CHECKS = {MapKind.GEOJSON: check_geojson, MapKind.GEOPACKAGE: check_geopackage}


def layers(path: Path) -> list[tuple[str, str]]:
    """Answer `MapReader.layers`; errors do not name the file, or are of GDAL, SQLite or Arrow."""
    kind = _look_into(path)
    if kind is MapKind.GEOPARQUET:
        return [(path.stem, "Unknown")]
    options = allow_only(kind)
    if kind is MapKind.GEOPACKAGE:
        found = []
        for i in range(count_layers(path)):  # GDAL's own list of layers takes no options
            try:
                info = pyogrio.read_info(path, layer=i, **options)
            except pyogrio.errors.DataLayerError:
                break  # it lists a table that is not there
            found.append((info["layer_name"], info["geometry_type"]))
    else:
        found = pyogrio.list_layers(path).tolist()
    budget.check_layers(len(found))
    return [(str(name), str(shape)) for name, shape in found if shape is not None]


def fields(path: Path, layer: str) -> list[str]:
    """Answer `MapReader.fields` with errors as of `layers`."""
    kind = _look_into(path)
    if kind is MapKind.GEOPARQUET:
        _check_attributes("", pq.read_metadata(path).num_columns)
        return list(pq.read_schema(path).names)
    found = pyogrio.read_info(path, layer=layer, **allow_only(kind))["fields"]
    _check_attributes(f'layer "{layer}"', len(found))
    return [str(name) for name in found]


def read(path: Path, layer: str, *, shapes_only: bool = False) -> gpd.GeoDataFrame | pd.DataFrame:
    """Answer `MapReader.read` with errors as of `layers`."""
    kind = _look_into(path)
    if kind is MapKind.GEOPARQUET:
        return _read_parquet(path)
    options = allow_only(kind)
    info = pyogrio.read_info(path, layer=layer, force_feature_count=True, **options)
    _check_attributes(f'layer "{layer}"', len(info["fields"]))
    _check_features(f'layer "{layer}"', info["features"])
    return pyogrio.read_dataframe(
        path, layer=layer, columns=[] if shapes_only else None, on_invalid="ignore", **options
    )


def _look_into(path: Path) -> MapKind:
    """Tell the kind of a file, having looked for what must not be opened."""
    start = read_start(path, LOOKED_AT)
    if points_elsewhere(start):
        raise InputError.at(
            "", "", tr("It holds no map, but points to other files."), tr("Give the map itself.")
        )
    kind = map_kind(start)
    if kind is None or kind is MapKind.ZIP:
        raise ValueError(tr("no map"))
    if check := _CHECKS.get(kind):
        check(path)
    return kind


def _read_parquet(path: Path) -> gpd.GeoDataFrame:
    stored = pq.read_metadata(path)
    _check_attributes("", stored.num_columns)
    _check_features("", stored.num_rows)
    if stored.num_row_groups > budget.ROW_GROUPS:
        raise InputError.at(
            "",
            "",
            tr(
                "It is cut into {num_row_groups:,} pieces (row groups), more than the "
                "{row_groups:,} that are read.",
                num_row_groups=stored.num_row_groups,
                row_groups=budget.ROW_GROUPS,
            ),
            tr("Export it again in fewer."),
        )
    size = sum(stored.row_group(i).total_byte_size for i in range(stored.num_row_groups))
    if size > budget.READER_BYTES:
        raise MemoryError
    return gpd.read_parquet(path)


def _check_attributes(place: str, count: int) -> None:
    """Each attribute is a column as long as the layer."""
    if count > budget.ATTRIBUTES:
        raise InputError.at(
            "",
            place,
            tr(
                "Its features have {count:,} attributes, more than the {attributes:,} that "
                "can be read.",
                count=count,
                attributes=budget.ATTRIBUTES,
            ),
            tr("Export it again with fewer."),
        )


def _check_features(place: str, count: int) -> None:
    if count > budget.FEATURES:
        raise InputError.at(
            "",
            place,
            tr(
                "It has over {features:,} features, more than can be read.",
                features=budget.FEATURES,
            ),
            tr("Export fewer at a time: one field, or a day."),
        )


def _as_arrow(frame: pd.DataFrame) -> pa.Table:
    """A frame as columns that are numbered, geometry as well-known binary."""
    columns = [
        pa.array(shapely.to_wkb(frame.geometry.array), pa.binary())
        if isinstance(frame, gpd.GeoDataFrame) and name == frame.geometry.name
        else _cells(frame.iloc[:, i])
        for i, name in enumerate(frame.columns)
    ]
    return pa.table(columns, names=[str(i) for i in range(len(columns))])


def _cells(values: pd.Series[Any]) -> pa.Array:
    """One attribute as Arrow has it; what it has no plain type for as text."""
    try:
        cells = pa.array(values, from_pandas=True)
        cells.validate(full=True)  # text may not be UTF-8
    except (pa.ArrowInvalid, pa.ArrowTypeError, pa.ArrowNotImplementedError):
        cells = None
    if cells is not None and pa.types.is_dictionary(cells.type):
        cells = cells.dictionary_decode()  # as large as it is going to be
    if cells is None or pa.types.is_nested(cells.type):
        return pa.array([_text(value) for value in values], pa.string())
    return cells.combine_chunks() if isinstance(cells, pa.ChunkedArray) else cells


def _text(value: object) -> str | None:
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    return None if value is None else str(value)


def _answer(request: dict[str, Any]) -> tuple[dict[str, Any], pa.Table | None]:
    path = Path(request["path"])
    if request["ask"] == "layers":
        return {"layers": layers(path)}, None
    if request["ask"] == "sheets":
        return {"sheets": sheets(path)}, None
    if request["ask"] == "sheet":
        text = pa.array([sheet(path, request["layer"])], pa.large_string())
        return {"columns": ["text"]}, pa.table({"text": text})
    if request["ask"] == "fields":
        return {"fields": fields(path, request["layer"])}, None
    with np.errstate(invalid="ignore"):  # coordinates that are not numbers: said by the caller
        frame = read(path, request["layer"], shapes_only=request["shapes_only"])
    shaped = isinstance(frame, gpd.GeoDataFrame)
    crs = frame.crs.to_wkt() if shaped and frame.crs is not None else None
    if crs is not None:
        pyproj.CRS(crs)  # some can be read, but not be read back
    return {
        "columns": [str(name) for name in frame.columns],
        GEOMETRY: list(frame.columns).index(frame.geometry.name) if shaped else None,
        "crs": crs,
    }, _as_arrow(frame)


def _respond(request: dict[str, Any], channel: BinaryIO) -> None:
    table = None
    try:
        head, table = _answer(request)
    except InputError as error:
        problem = error.problems[0]
        head = {"problem": [problem.place, problem.what, problem.remedy]}
    except (MemoryError, pa.ArrowMemoryError):
        head = {"failure": "memory"}
    except Exception as error:  # each driver and codec has its own kind of failure
        head = {"failure": f"{type(error).__name__}: {error}"[:1000]}
    channel.write(json.dumps(head).encode() + b"\n")
    if table is not None:
        with pa.ipc.new_stream(channel, table.schema) as stream:
            stream.write_table(table, max_chunksize=1 << 16)
    channel.flush()


def _bound_resources() -> None:
    """Let this process write no file and grow by no more than its budget."""
    try:
        import resource
    except ImportError:  # not on this system: time and counts are bounded all the same
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    status = Path("/proc/self/status")
    if status.exists():
        held = next(s for s in status.read_text().splitlines() if s.startswith("VmData:"))
        bound = int(held.split()[1]) * 1024 + budget.READER_BYTES
        resource.setrlimit(resource.RLIMIT_DATA, (bound, bound))


def main() -> None:
    """Answer requests from standard input until it ends."""
    channel = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # libraries may chatter
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent answers it
    warnings.simplefilter("ignore")
    close_ways_out()
    _bound_resources()
    channel.write(READY)
    channel.flush()
    for line in sys.stdin.buffer:
        request = json.loads(line)
        # The system ends this process, even inside a library and without its parent.
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, request["seconds"])
        _respond(request, channel)
        if hasattr(signal, "setitimer"):
            signal.setitimer(signal.ITIMER_REAL, 0)


if __name__ == "__main__":
    main()
