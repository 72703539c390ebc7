"""Logs with one record a section read as the same log with one column a section."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Track

FIXES, SECTIONS = 40, 4
STATES = np.random.default_rng(4).random((FIXES, SECTIONS)) < 0.7


def fixes() -> pd.DataFrame:
    """A machine going north at 2 m/s (spherical degrees), one fix a second."""
    k = np.arange(FIXES)
    return pd.DataFrame({"lon": -93.5, "lat": 40 + k * 2 / 111_195, "time": k + 1_557_029_944})


def long_form(number: str = "Section", state: str | None = "State", base: int = 1) -> pd.DataFrame:
    frame = fixes().loc[np.repeat(np.arange(FIXES), SECTIONS)].reset_index(drop=True)
    frame[number] = np.tile(np.arange(SECTIONS) + base, FIXES)
    if state is not None:
        frame[state] = np.where(STATES.ravel(), "on", "off")
    return frame


def read(folder: Path, frame: pd.DataFrame, **columns: str) -> Track:
    frame.to_csv(folder / "log.csv", index=False)
    (track,) = read_tracks(folder / "log.csv", columns=columns)
    return track


@pytest.mark.parametrize(
    ("number", "state", "base"),
    [
        ("Section", "State", 1),
        ("section_id", "work state", 0),
        ("Section number", "Section state", 1),
        ("row", "status", 1),
    ],
)
def test_states_of_a_fix_are_put_together(
    tmp_path: Path, number: str, state: str, base: int
) -> None:
    track = read(tmp_path, long_form(number, state, base))
    assert len(track) == FIXES
    np.testing.assert_array_equal(track.sections, STATES)
    assert track.sections_are_rows == (number == "row")
    assert any(f'"{number}"' in note and "number of the" in note for note in track.notes)


def test_order_of_records_does_not_matter(tmp_path: Path) -> None:
    frame = long_form()
    by_section = frame.sort_values(["Section", "time"], ascending=[False, True])
    np.testing.assert_array_equal(read(tmp_path, by_section).sections, STATES)


def test_a_mapping_settles_it(tmp_path: Path) -> None:
    track = read(tmp_path, long_form("k", "s"), section_number="k", work="s")
    np.testing.assert_array_equal(track.sections, STATES)


def test_where_only_working_sections_are_listed_the_others_are_off(tmp_path: Path) -> None:
    listed = long_form(state=None)[STATES.ravel()]
    seen = STATES.any(axis=1)
    np.testing.assert_array_equal(read(tmp_path, listed).sections, STATES[seen])


def test_rates_of_sections_are_averaged_and_flows_added(tmp_path: Path) -> None:
    on = STATES.astype(float)
    own = on * np.array([100.0, 120.0, 140.0, 160.0])
    frame = long_form()
    frame["rate (kg/ha)"], frame["flow (kg/s)"] = own.ravel(), own.ravel() / 1000
    track = read(tmp_path, frame)
    some = np.maximum(on.sum(axis=1), 1)
    np.testing.assert_allclose(track.rates[""], own.sum(axis=1) / some / 1e4, rtol=1e-12)
    np.testing.assert_allclose(track.flows[""], own.sum(axis=1) / 1000, rtol=1e-12)


def test_a_rate_of_the_whole_machine_stays(tmp_path: Path) -> None:
    frame = long_form().assign(**{"rate (kg/ha)": np.repeat(np.arange(FIXES) + 100.0, SECTIONS)})
    np.testing.assert_allclose(read(tmp_path, frame).rates[""], (np.arange(FIXES) + 100) / 1e4)


def test_numbers_of_records_are_no_sections(tmp_path: Path) -> None:
    track = read(tmp_path, fixes().assign(row=np.arange(FIXES) + 1, work=1))
    assert len(track) == FIXES
    assert track.sections is None
    assert track.working is not None
    assert track.working.all()


@pytest.mark.parametrize("values", [np.arange(FIXES) + 1, ["a"] * FIXES])
def test_a_wrong_mapping_is_said(tmp_path: Path, values: object) -> None:
    with pytest.raises(InputError, match="section_number"):
        read(tmp_path, fixes().assign(k=values), section_number="k")


def test_what_is_not_used_is_told(tmp_path: Path) -> None:
    frame = long_form().assign(remark="wet", nothing="")
    (note,) = [n for n in read(tmp_path, frame).notes if n.endswith("not used.")]
    assert note == 'log.csv: column "remark" not used.'


def test_towers_are_sections(tmp_path: Path) -> None:
    names = {f"Tower {k + 1}": STATES[:, k].astype(int) for k in range(SECTIONS)}
    track = read(tmp_path, fixes().assign(**names))
    np.testing.assert_array_equal(track.sections, STATES)
    assert not track.sections_are_rows
