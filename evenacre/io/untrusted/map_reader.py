"""Map files through a process of their own, so that no file can harm or hang this one."""

from __future__ import annotations

import functools
import json
import os
import subprocess
import sys
import threading
import time
import weakref
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import evenacre
from evenacre.errors import InputError
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import size_within
from evenacre.language import tr

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    import pyarrow as pa

_GRACE_S = 5.0  # the reader ends itself first; this is for systems where it cannot
_KEPT_BYTES = 64 * budget.MB  # after a larger layer the process gives its memory back by ending


class UnreadableMapError(Exception):
    """The file is none of the kinds that are read, or is damaged."""


class MapReader:
    """A process that reads maps, started when first asked and ended with this one."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._ready = False

    def begin(self) -> None:
        """Start the process while whoever will ask it has something else to do."""
        with self._lock:
            if self._process is None:
                self._process = self._started()

    def layers(self, path: Path, label: str) -> list[tuple[str, str]]:
        """Name and geometry type of each layer with shapes, of a map file that is not a zip."""
        head, _ = self._ask(path, label, {"ask": "layers"})
        return [(name, kind) for name, kind in head["layers"]]

    def fields(self, path: Path, layer: str, label: str) -> list[str]:
        """Names of the attributes of a layer."""
        head, _ = self._ask(path, label, {"ask": "fields", "layer": layer})
        return [str(name) for name in head["fields"]]

    def read(
        self, path: Path, layer: str, label: str, *, shapes_only: bool = False
    ) -> gpd.GeoDataFrame | pd.DataFrame:
        """Read one layer as stored, ``shapes_only`` without attributes, of a map file but a zip."""
        import geopandas as gpd
        import pandas as pd

        from evenacre.io.common.arrow_arrays import told_apart

        request = {"ask": "read", "layer": layer, "shapes_only": shapes_only}
        head, table = self._ask(path, label, request)
        assert table is not None
        columns = [table.column(i).to_pandas() for i in range(table.num_columns)]
        if head["geometry"] is not None:
            columns[head["geometry"]] = _shapes(columns[head["geometry"]], head["crs"])
        frame = pd.concat(columns, axis=1) if columns else pd.DataFrame()
        names = told_apart(head["columns"])
        frame.columns = names
        if head["geometry"] is None:
            return frame
        return gpd.GeoDataFrame(frame, geometry=names[head["geometry"]])

    def sheets(self, path: Path, label: str) -> list[tuple[str, str]]:
        """Names of the sheets of a spreadsheet, and how their text begins."""
        head, _ = self._ask(path, label, {"ask": "sheets"})
        return [(name, text) for name, text in head["sheets"]]

    def sheet(self, path: Path, name: str, label: str) -> str:
        """A sheet of a spreadsheet as comma-separated values."""
        _, table = self._ask(path, label, {"ask": "sheet", "layer": name})
        assert table is not None
        return str(table.column(0)[0].as_py())

    def _ask(
        self, path: Path, label: str, request: dict[str, Any]
    ) -> tuple[dict[str, Any], pa.Table | None]:
        seconds = budget.map_seconds(size_within(path, label, budget.MAP_BYTES))
        # Whole paths only: GDAL takes names like "PG:..." for places to connect to.
        request |= {"path": str(path.absolute()), "seconds": seconds}
        with self._lock:
            process = self._running()
            assert process.stdin is not None
            assert process.stdout is not None
            watchdog = threading.Timer(seconds + _GRACE_S, process.kill)
            watchdog.start()
            began = time.monotonic()
            answered = False
            try:
                process.stdin.write(json.dumps(request).encode() + b"\n")
                process.stdin.flush()
                head = json.loads(process.stdout.readline())
                table = _table(process.stdout, label) if "columns" in head else None
                answered = table is None or table.nbytes < _KEPT_BYTES
            except (OSError, ValueError):  # cut off: the process did not survive the file
                late = time.monotonic() - began >= seconds
                raise _too_slow(label, seconds) if late else _too_much(label) from None
            finally:
                watchdog.cancel()
                if not answered:
                    self._end()
        if "problem" in head:
            raise InputError.at(label, *head["problem"])
        if failure := head.get("failure"):
            raise _too_much(label) if failure == "memory" else UnreadableMapError(failure)
        return head, table

    def _running(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            self._end()
            self._process = self._started()
        if not self._ready:
            if not self._process.stdout or not self._process.stdout.readline():
                # No file has been opened yet, so none is to blame.
                raise RuntimeError("the process that reads maps did not start")
            self._ready = True
        return self._process

    def _started(self) -> subprocess.Popen[bytes]:
        home = str(Path(evenacre.__file__).parent.parent)
        paths = [home, *filter(None, [os.environ.get("PYTHONPATH")])]
        process = subprocess.Popen(
            # -P: a module that lies in the folder of the map must not be imported.
            [sys.executable, "-P", "-m", "evenacre.io.untrusted.reader"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join(paths),
                "PROJ_NETWORK": "OFF",
                # Memory taken as it is used, so that its bound means something.
                "ARROW_DEFAULT_MEMORY_POOL": "system",
                "OPENBLAS_NUM_THREADS": "1",
            },
        )
        weakref.finalize(self, _end, process)
        return process

    def _end(self) -> None:
        if self._process is not None:
            _end(self._process)
            self._process, self._ready = None, False


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.communicate()


@functools.cache
def _reader_of(_process_id: int) -> MapReader:
    return MapReader()


def map_reader() -> MapReader:
    """Return the reader of this process; starting it takes half a second."""
    return _reader_of(os.getpid())  # a process that was forked off has none yet


def _table(stream: IO[bytes], label: str) -> pa.Table:
    """Take in a layer as it comes, no more of it than its budget."""
    import pyarrow as pa

    with pa.ipc.open_stream(stream) as batches:
        taken, size = [], 0
        for batch in batches:
            taken.append(batch)
            size += batch.nbytes
            if size > budget.LAYER_BYTES:
                raise _too_much(label)
        return pa.Table.from_batches(taken, batches.schema)


def _shapes(binary: pd.Series[Any], crs: str | None) -> gpd.GeoSeries:
    import geopandas as gpd
    import shapely

    return gpd.GeoSeries(shapely.from_wkb(binary.to_numpy(), on_invalid="ignore"), crs=crs)


def _too_slow(label: str, seconds: float) -> InputError:
    return InputError.at(
        label,
        "",
        tr(
            "It was not read to its end in {seconds:.0f} seconds, so reading it was given up.",
            seconds=seconds,
        ),
        tr("Export it again, or fewer features at a time."),
    )


def _too_much(label: str) -> InputError:
    return InputError.at(
        label,
        "",
        tr(
            "It is damaged, or takes more than the {reader_bytes:,} MB of memory that a map "
            "may take.",
            reader_bytes=budget.READER_BYTES // budget.MB,
        ),
        tr("Export it again, or fewer features at a time."),
    )
