"""Tables with free text above their column names."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks

TABLE = "lon,lat,time,work\n" + "".join(
    f"-93.5,{40 + k * 2e-5:.6f},{1_557_029_944 + k},1\n" for k in range(9)
)


@pytest.mark.parametrize(
    "above",
    [
        "Exported for the office\n",
        "Exported for the office\n\n",
        "Field, Creek Forty\nDate, 2026-04-14\n\n",
        "Log of the drive, spring, as it came\nsecond line\n",
        "# remark\nExported for the office\n",
    ],
)
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_table_below_is_found(tmp_path: Path, above: str, separator: str) -> None:
    file = tmp_path / "log.csv"
    file.write_text(above + TABLE.replace(",", separator))
    (track,) = read_tracks(file)
    assert len(track) == 9
    line = above.count("\n") + 1
    assert any(f"line {line}" in note for note in track.notes)


def test_places_are_lines_of_the_file(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text("Exported for the office\n\n" + TABLE.replace("40.000040", "wet"))
    with pytest.raises(InputError, match="line 6"):
        read_tracks(file)


def test_records_wider_than_their_header_are_not_taken_for_a_table(tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text("lon,lat,time\n" + "-93,5,40,1,1557029944\n" * 9)
    with pytest.raises(InputError, match="another number of columns than the header"):
        read_tracks(file)
