"""Tables of many farms as one data set: GeoParquet by farm and year, and an index of it.

Folders are named as Hive names partitions (``farm=.../year=...``), which DuckDB, pyarrow and
others read as columns. Whoever reads the index reads what is whole: it is written last.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import pyarrow.parquet as pq

from evenacre.errors import InputError
from evenacre.io.farms.storage import storage
from evenacre.io.writers.vector_layers import write_geoparquet

INDEX = "index.parquet"


def check_place(out: str) -> None:
    """Refuse a place where something lies already, before any work.

    Raises
    ------
    InputError
    """
    files, path = storage(out)
    if files.exists(path) and (files.isfile(path) or files.ls(path)):
        what = "There is something in it already."
        raise InputError.at(out, "", what, "Name a new folder for the data set.")


def partition(table: str, farm: str, year: str, name: str) -> str:
    """Path of one part, below that of the data set."""
    return f"{table}/farm={farm}/year={year}/{name}.parquet"


def write_part(out: str, part: str, frame: pd.DataFrame | gpd.GeoDataFrame) -> int:
    """Write one part whole or not at all; returns its bytes. Equal frames give equal bytes."""
    data = _packed(frame)
    _put(out, part, data)
    return len(data)


def write_index(out: str, rows: Iterable[Mapping[str, Any]], columns: Sequence[str]) -> None:
    """Write the table of all jobs, those that failed among them."""
    buffer = io.BytesIO()
    pd.DataFrame(list(rows), columns=list(columns)).to_parquet(
        buffer, index=False, compression="zstd"
    )
    _put(out, INDEX, buffer.getvalue())


def _put(out: str, part: str, data: bytes) -> None:
    files, path = storage(f"{out.rstrip('/')}/{part}")
    files.makedirs(path.rpartition("/")[0], exist_ok=True)
    with files.transaction, files.open(path, "wb") as there:
        there.write(data)


def _packed(frame: pd.DataFrame | gpd.GeoDataFrame) -> bytes:
    """A table as Parquet.

    It has a row or a few: statistics to skip some by, and what pandas and Arrow write down of
    each column, would be five sixths of its bytes.
    """
    whole, slim = io.BytesIO(), io.BytesIO()
    if isinstance(frame, gpd.GeoDataFrame):
        write_geoparquet(whole, frame)
    else:
        frame.to_parquet(whole, index=False)
    table = pq.read_table(whole)
    about = {key: text for key, text in table.schema.metadata.items() if key == b"geo"}
    with pq.ParquetWriter(
        slim,
        table.schema,
        compression="zstd",
        use_dictionary=False,
        write_statistics=False,
        store_schema=False,
    ) as writer:
        writer.write_table(table)
        writer.add_key_value_metadata(about)
    return slim.getvalue()
