"""Look for inputs that break a reader, guided by the code they reach.

    pip install atheris
    python tests/fuzz_atheris.py nmea -max_total_time=300

The first argument is a kind of log: csv, gpx, nmea or geojson. What follows goes to libFuzzer
(``-runs=``, ``-max_total_time=``, ``-rss_limit_mb=``, a folder that keeps what it found). It
stops with the input in a file when a reader ends in anything but tracks or a clear complaint.
"""

from __future__ import annotations

import importlib
import sys
import tempfile
import warnings
from pathlib import Path

import atheris
from spoiled import LOGS

# Each reader is imported when it is first needed, so they are brought in here to be watched.
_READERS = ("csv_track", "gpx_track", "layer_track", "nmea_track")

with atheris.instrument_imports(include=["evenacre"]):
    from evenacre.errors import InputError
    from evenacre.io.tracks import read_tracks

    for _reader in _READERS:
        importlib.import_module(f"evenacre.io.{_reader}")

LIMITS = ["-max_len=4096", "-timeout=10", "-rss_limit_mb=2048"]


def main() -> None:
    warnings.simplefilter("ignore")
    kind, options = sys.argv[1], sys.argv[2:]
    with tempfile.TemporaryDirectory(prefix="evenacre-fuzz-") as folder:
        log = Path(folder) / f"log.{kind}"
        seeds = Path(folder) / "seeds"
        seeds.mkdir()
        for name, content in LOGS.items():
            if name.endswith(f".{kind}"):
                (seeds / name).write_bytes(content)

        def read(content: bytes) -> None:
            log.write_bytes(content)
            try:
                read_tracks(log)
            except InputError:
                return

        atheris.Setup([sys.argv[0], *LIMITS, *options, str(seeds)], read)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
