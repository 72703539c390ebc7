"""Which rows were on: read in order of trust from what a log tells, and said how."""

import numpy as np
import pytest
from jobs import START_S, Bools, Floats

from evenacre.coverage.clean import Fixes, clean
from evenacre.coverage.rows import RowStates, row_states, section_bounds, with_rows
from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import Implement, Settings, Track
from evenacre.model.finding import Finding

PLANE = WorkingPlane(-92.6, 40.1)
DRILL = Implement(width_m=6.0, rows=24, rows_known=True)
COUNT = 40
HALF = np.arange(COUNT) < 20
STEADY = np.full(COUNT, 2.4)
STRAIGHT = np.full(COUNT, np.inf)


def log(name: str = "log.csv", later_s: float = 0.0, **columns: object) -> Track:
    lon, lat = PLANE.lonlat(np.full(COUNT, 300.0), 900.0 + 0.48 * np.arange(COUNT))
    time = START_S + later_s + np.arange(COUNT) / 5
    return Track(name, time, lon, lat, **columns)  # type: ignore[arg-type]


def states(
    *tracks: Track,
    implement: Implement = DRILL,
    speed: Floats = STEADY,
    radius: Floats = STRAIGHT,
) -> RowStates:
    fixes: Fixes = clean(tracks, PLANE, Settings())
    assert len(fixes.time_s) == COUNT * len(tracks)
    return row_states(fixes, tracks, implement, speed, radius)


def all_rows(on: Bools) -> Bools:
    return np.repeat(on[:, None], 24, axis=1)


def test_sections_share_the_rows_evenly() -> None:
    sections = np.random.default_rng(1).random((COUNT, 4)) > 0.4
    found = states(log(sections=sections))
    for row in range(24):
        assert (found.on.states[:, row] == sections[:, row // 6]).all()
    assert found.findings == ()


def test_sections_of_stated_rows_from_the_left() -> None:
    drill = Implement(width_m=6.0, rows=24, rows_known=True, section_rows=(3, 9, 12))
    sections = np.tile([True, False, True], (COUNT, 1))
    (rows,) = np.unique(states(log(sections=sections), implement=drill).on.states, axis=0)
    assert rows.tolist() == [True] * 3 + [False] * 9 + [True] * 12


def test_a_state_for_every_row() -> None:
    rows = np.random.default_rng(2).random((COUNT, 24)) > 0.5
    found = states(log(sections=rows, sections_are_rows=True))
    assert (found.on.states == rows).all()


def test_stated_section_rows_of_another_count_are_not_used() -> None:
    drill = Implement(width_m=6.0, rows=24, rows_known=True, section_rows=(3, 9, 12))
    assert section_bounds(drill, 4) == [0, 6, 12, 18, 24]
    assert section_bounds(drill, 3) == [0, 3, 12, 24]


@pytest.mark.parametrize(("rows", "sections"), [(24, 5), (7, 3), (10, 4), (32, 6)])
def test_rows_that_do_not_divide_evenly_are_all_given_out(rows: int, sections: int) -> None:
    bounds = section_bounds(Implement(width_m=6.0, rows=rows, rows_known=True), sections)
    sizes = np.diff(bounds)
    assert bounds[0] == 0
    assert bounds[-1] == rows
    assert sizes.max() - sizes.min() <= 1


def test_a_section_works_only_while_the_tool_works() -> None:
    sections = np.tile([True, False], (COUNT, 1))
    found = states(log(sections=sections, working=HALF)).on.states
    assert (found[:, :12] == HALF[:, None]).all()
    assert not found[:, 12:].any()


def test_the_work_state_switches_the_whole_tool() -> None:
    found = states(log(working=HALF))
    assert (found.on.states == all_rows(HALF)).all()
    assert found.findings == ()


def test_the_work_state_is_trusted_before_rate_and_speed() -> None:
    speed = np.where(HALF, 2.4, 0.0)
    found = states(log(working=~HALF, rates={"seed": np.where(HALF, 0.01, 0.0)}), speed=speed)
    assert (found.on.states == all_rows(~HALF)).all()


def test_a_width_above_zero_is_work() -> None:
    found = states(log(width_m=np.where(HALF, 6.0, 0.0)))
    assert (found.on.states == all_rows(HALF)).all()
    assert found.findings == (Finding.note("work_from_width"),)


def test_a_width_that_is_missing_is_no_work() -> None:
    found = states(log(width_m=np.where(HALF, 6.0, np.nan)))
    assert (found.on.states == all_rows(HALF)).all()


def test_a_width_that_is_missing_says_nothing_against_a_work_state() -> None:
    width = np.where(np.arange(COUNT) % 3 == 0, 6.0, np.nan)
    found = states(log(width_m=width, working=HALF))
    assert (found.on.states == all_rows(HALF)).all()
    assert found.findings == ()


@pytest.mark.parametrize(("width", "rows"), [(3.0, 12), (1.5, 6), (0.5, 2), (5.9, 24), (4.9, 20)])
def test_a_partial_width_lies_about_the_middle_and_is_warned_of(width: float, rows: int) -> None:
    found = states(log(width_m=np.where(HALF, width, 6.0)))
    assert found.on.states[~HALF].all()
    (pattern,) = np.unique(found.on.states[HALF], axis=0)
    first = (24 - rows) // 2
    assert np.flatnonzero(pattern).tolist() == list(range(first, first + rows))
    told = [f for f in found.findings if f.code == "partial_width"]
    assert bool(told) == (width < 5.88)
    assert all(f.values["records"] == 20 for f in told)


def test_the_width_of_a_log_with_sections_only_lifts_the_tool() -> None:
    sections = np.tile([True, False], (COUNT, 1))
    found = states(log(sections=sections, width_m=np.where(HALF, 3.0, 0.0))).on.states
    assert (found[:, :12] == HALF[:, None]).all()
    assert not found[:, 12:].any()


def test_logged_widths_beyond_the_tool_are_warned_of() -> None:
    found = states(log(width_m=np.full(COUNT, 9.0), working=np.ones(COUNT, dtype=bool)))
    assert found.on.states.all()
    (told,) = found.findings
    assert told.code == "width_over_tool"
    assert (told.values["widest_m"], told.values["tool_m"]) == (9.0, 6.0)


@pytest.mark.parametrize("column", ["rates", "flows"])
def test_a_rate_or_flow_above_zero_is_work(column: str) -> None:
    found = states(log(**{column: {"seed": np.where(HALF, 0.02, 0.0)}}))
    assert (found.on.states == all_rows(HALF)).all()
    assert found.findings == (Finding.note("work_from_amount"),)


def test_any_of_several_products_is_work() -> None:
    third = np.arange(COUNT) < 30
    rates = {"seed": np.where(HALF, 0.02, np.nan), "urea": np.where(third, 0.01, 0.0)}
    assert (states(log(rates=rates)).on.states == all_rows(third)).all()


def test_a_width_that_never_changes_leaves_the_rate_to_tell() -> None:
    full = np.full(COUNT, 6.0)
    found = states(log(width_m=full, rates={"seed": np.where(HALF, 0.02, 0.0)}))
    assert (found.on.states == all_rows(HALF)).all()


def test_a_width_that_is_ever_zero_is_trusted_before_the_rate() -> None:
    width, rate = np.where(HALF, 6.0, 0.0), np.where(np.arange(COUNT) < 5, 0.02, 0.0)
    assert (states(log(width_m=width, rates={"seed": rate})).on.states == all_rows(HALF)).all()


def test_with_nothing_logged_a_steady_speed_is_work() -> None:
    speed = np.concatenate([np.full(30, 2.4), [0.1, 0.5, 1.15, 3.9, 5.0], np.full(5, 2.0)])
    speed[:2] = 1.25, 3.8  # just within half and 1.6 times the usual speed
    found = states(log(), speed=speed)
    assert (found.on.states == all_rows((speed > 1.2) & (speed < 3.84))).all()
    assert found.findings == (Finding.note("work_from_speed"),)


def test_with_nothing_logged_turning_on_the_spot_is_no_work() -> None:
    radius = np.where(HALF, np.inf, 2.9)
    assert (states(log(), radius=radius).on.states == all_rows(HALF)).all()
    wide = np.where(HALF, np.inf, 3.1)
    assert states(log(), radius=wide).on.states.all()


def test_a_rate_that_is_never_off_tells_nothing() -> None:
    speed = np.where(HALF, 2.4, 0.2)
    found = states(log(rates={"seed": np.full(COUNT, 0.02)}), speed=speed)
    assert (found.on.states == all_rows(HALF)).all()
    assert found.findings == (Finding.note("work_from_speed"),)


def test_each_log_is_read_by_what_it_has_itself() -> None:
    plain = log("a.csv", working=HALF)
    rated = log("b.csv", 1000.0, rates={"seed": np.where(HALF, 0.0, 0.1)})
    found = states(plain, rated, speed=np.full(2 * COUNT, 2.4), radius=np.full(2 * COUNT, np.inf))
    assert (found.on.states[:COUNT] == all_rows(HALF)).all()
    assert (found.on.states[COUNT:] == all_rows(~HALF)).all()


def test_rows_are_chosen_where_none_are_known() -> None:
    plain = Implement(width_m=6.0)
    drill = with_rows(plain, [log()])
    assert drill.rows == 24
    assert not drill.rows_known
    seven = with_rows(plain, [log(sections=np.ones((COUNT, 7), dtype=bool)), log()])
    assert seven.rows % 7 == 0
    assert seven.row_spacing_m == pytest.approx(0.25, rel=0.2)
    known = Implement(width_m=6.0, rows=8, rows_known=True)
    assert with_rows(known, [log()]) is known
