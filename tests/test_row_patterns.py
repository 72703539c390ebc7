"""Rows by patterns say what rows said one by one do."""

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from evenacre.coverage.clean import Fixes
from evenacre.coverage.row_patterns import RowPatterns
from evenacre.coverage.smooth import SmoothPath
from evenacre.coverage.steps import build_steps
from evenacre.model import Blockage, Implement

STATES = arrays(
    np.int64, st.tuples(st.integers(1, 12), st.integers(1, 5)), elements=st.integers(0, 2)
)


@given(STATES, st.data())
def test_patterns_hold_every_state(states: np.ndarray, data: st.DataObject) -> None:
    found, count = RowPatterns.of(states), len(states)
    assert (found.states == states).all()
    assert len(np.unique(found.pattern, axis=0)) == len(found.pattern)
    assert (found.changes == (states[1:] != states[:-1]).any(axis=1)).all()
    assert (found.any == states.any(axis=1)).all()
    assert (found.count == (states > 0).sum(axis=1)).all()
    mask = data.draw(arrays(bool, count))
    assert (found.where(mask).states == states * mask[:, None]).all()
    assert (found.at(mask).states == states[mask]).all()
    both = RowPatterns.joined([found, found.at(slice(0, 1))])
    assert (both.states == np.concatenate([states, states[:1]])).all()
    assert len(np.unique(both.pattern, axis=0)) == len(both.pattern)


SPAN = st.tuples(st.integers(0, 12), st.integers(0, 12), st.sets(st.integers(1, 4), min_size=1))


@given(arrays(bool, st.tuples(st.integers(2, 12), st.just(4))), st.lists(SPAN, max_size=3))
def test_blocked_rows_are_those_that_were_on_meanwhile(
    on: np.ndarray, spans: list[tuple[int, int, set[int]]]
) -> None:
    count = len(on)
    x = np.arange(float(count))
    none = np.zeros(count, dtype=np.int64)
    fixes = Fixes(x, x, 0 * x, none, np.arange(count), none, (x[1:] + x[:-1]) / 2)
    tool = replace(Implement(width_m=4.0, rows=4, rows_known=True), product_lag_s=0.0)
    blockages = [Blockage(float(a), float(b), tuple(sorted(rows)), "") for a, b, rows in spans]
    steps = build_steps(
        fixes, SmoothPath(x, 0 * x, 0 * x, 0.0), RowPatterns.of(on), tool, blockages
    )
    middle = (steps.tool.time_s[1:] + steps.tool.time_s[:-1]) / 2
    for k, now in enumerate(middle):
        for row in range(4):
            state = int(on[steps.record[k], row])
            for number, (start, end, rows) in enumerate(spans):
                if state and start <= now < end and row + 1 in rows:
                    state = 2 + number
            assert steps.rows.states[k, row] == state
            assert steps.active.states[k, row] == (state == 1)
            assert steps.on.states[k, row] == (state > 0)
