"""Linear programs with whole numbers, solved by HiGHS, and the rows that any schedule keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import highspy
import numpy as np
from scipy import sparse

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.interseeding.plan_types import ScheduleProblem

HOUR_S = 3600.0
_LEAST_SHARE = 1e-9

_BY_ROW, _CHEAPEST = int(highspy.MatrixFormat.kRowwise), int(highspy.ObjSense.kMinimize)
_FEASIBLE = int(highspy.SolutionStatus.kSolutionStatusFeasible)
_IMPOSSIBLE = {
    highspy.HighsModelStatus.kInfeasible,
    highspy.HighsModelStatus.kUnboundedOrInfeasible,  # every unknown here is bounded
}


class _Silent(highspy.Highs):
    """A solver that prints nothing, not even the header that some versions begin with."""

    def enableCallbacks(self) -> None:  # noqa: N802
        """Called first of all; no callbacks are needed here."""
        self.silent()


@dataclass(frozen=True)
class Solution:
    """What the solver found."""

    # Best values found, block by block; None: none were found in time
    values: dict[str, FloatArray] | None
    cost: float  # infinite when there are no values
    bound: float  # no solution costs less
    # Proven to be the cheapest; proven not to exist
    optimal: bool
    infeasible: bool


@dataclass(frozen=True)
class Program:
    """Blocks of unknowns from zero up to a limit, and rows that bind them."""

    upper: dict[str, FloatArray] = field(default_factory=dict)
    whole: set[str] = field(default_factory=set)
    rows: list[tuple[dict[str, Any], FloatArray, FloatArray]] = field(default_factory=list)

    def add(self, name: str, upper: FloatArray, *, whole: bool = False) -> None:
        """Add a block of unknowns between 0 and ``upper``, whole numbers if so asked."""
        self.upper[name] = np.asarray(upper, dtype=np.float64)
        if whole:
            self.whole.add(name)

    def bind(
        self,
        terms: Mapping[str, Any],
        *,
        low: float | FloatArray = -np.inf,
        high: float | FloatArray = np.inf,
    ) -> None:
        """Bind low <= sum of (matrix @ block) <= high; a vector stands for a single row."""
        rows = {
            name: sparse.csr_array(np.atleast_2d(m) if isinstance(m, np.ndarray) else m)
            for name, m in terms.items()
        }
        (count,) = {matrix.shape[0] for matrix in rows.values()}
        self.rows.append((rows, np.broadcast_to(low, count), np.broadcast_to(high, count)))

    def narrowed(self, terms: Mapping[str, Any], **limits: float) -> Program:
        """Return the program with more rows, and leave this one as it is."""
        other = replace(self, rows=list(self.rows))
        other.bind(terms, **limits)
        return other

    def solve(
        self,
        cost: Mapping[str, FloatArray],
        *,
        time_limit_s: float,
        gap: float = 1e-7,
        fixed: Mapping[str, FloatArray] | None = None,
        loose: frozenset[str] = frozenset(),
        start: Mapping[str, FloatArray] | None = None,
    ) -> Solution:
        """Find the cheapest values; all are (size,), by blocks.

        A solution within the relative ``gap`` of the bound counts as optimal. ``fixed`` values
        are decided, NaN where they are not; ``loose`` blocks need not be whole numbers this time;
        ``start`` is a solution that is known, to be bettered.
        """
        ends = np.cumsum([len(upper) for upper in self.upper.values()])
        at = {
            name: slice(end - len(upper), end)
            for end, (name, upper) in zip(ends, self.upper.items(), strict=True)
        }
        size = int(ends[-1])
        price, lower, upper = np.zeros(size), np.zeros(size), np.concatenate([*self.upper.values()])
        whole = np.zeros(size, dtype=np.int32)
        for name in self.whole - loose:
            whole[at[name]] = 1
        for name, values in cost.items():
            price[at[name]] = values
        for name, values in (fixed or {}).items():
            decided = ~np.isnan(values)
            lower[at[name]][decided] = upper[at[name]][decided] = values[decided]
        whole[lower == upper] = 0  # what is decided is no choice: it may leave a linear program
        # The matrices of blocks side by side, in rows as wide as the program.
        wide = [
            sum(
                sparse.csr_array((m.data, m.indices + at[n].start, m.indptr), (m.shape[0], size))
                for n, m in terms.items()
            )
            for terms, _, _ in self.rows
        ]
        matrix = sparse.vstack(wide, format="csr")
        highs = _Silent()  # type: ignore[no-untyped-call]
        highs.setOptionValue("time_limit", max(time_limit_s, 0.01))
        highs.setOptionValue("mip_rel_gap", gap)
        highs.passModel(
            size, matrix.shape[0], matrix.nnz, _BY_ROW, _CHEAPEST, 0.0, price, lower, upper,
            np.concatenate([low for _, low, _ in self.rows]),
            np.concatenate([high for _, _, high in self.rows]),
            matrix.indptr, matrix.indices, matrix.data, whole,
        )  # fmt: skip
        if start:
            place = np.concatenate([np.arange(at[n].start, at[n].stop) for n in start])
            highs.setSolution(len(place), place.astype(np.int32), np.concatenate([*start.values()]))
        highs.run()
        status, info = highs.getModelStatus(), highs.getInfo()
        x = np.array(highs.getSolution().col_value)
        found = info.primal_solution_status == _FEASIBLE
        optimal = found and status == highspy.HighsModelStatus.kOptimal
        cheapest = float(price @ x) if found else np.inf
        if start and optimal and info.mip_dual_bound < cheapest - 10 * gap * abs(cheapest):
            # Some versions give back the start, as the best, where nothing is left to search.
            return self.solve(cost, time_limit_s=time_limit_s, gap=gap, fixed=fixed, loose=loose)
        return Solution(
            values={name: x[block] for name, block in at.items()} if found else None,
            cost=cheapest,
            bound=info.mip_dual_bound if whole.any() else cheapest if optimal else -np.inf,
            optimal=optimal,
            infeasible=status in _IMPOSSIBLE,
        )


@dataclass(frozen=True, eq=False)
class Slots:
    """Pairs of a paddock worth seeding and a day that has time to work it."""

    problem: ScheduleProblem
    # (k,)
    paddock: IntArray
    day: IntArray
    most: FloatArray  # (k,); share of the paddock that the day has time for, set-up taken off
    # (q,); the days with any time, in order: the cart may be filled where nothing is open
    days: IntArray
    place: IntArray  # (k,); where ``day`` stands in ``days``

    @classmethod
    def of(cls, problem: ScheduleProblem, allowed: BoolArray, capacity_s: FloatArray) -> Slots:
        """List the slots of the days (m, n) that rules leave open, with so much time each (n,)."""
        paddock, day = np.nonzero(allowed & problem.worth_seeding[:, None])
        left = capacity_s[day] - problem.setup_s
        work = problem.work_s[paddock]
        whole = np.divide(left, work, out=np.ones(len(left)), where=work > 0)
        most = np.where(left >= 0, np.minimum(whole, 1.0), 0.0)
        keep = most > _LEAST_SHARE
        days = np.nonzero(capacity_s > 0)[0]
        place = np.searchsorted(days, day[keep])
        return cls(problem, paddock[keep], day[keep], most[keep], days, place)

    def __len__(self) -> int:
        return len(self.day)

    def spread(self, values: FloatArray) -> FloatArray:
        """Lay values of slots, shape (k,), out as paddocks by days, shape (m, n)."""
        table = np.zeros(self.problem.shape)
        table[self.paddock, self.day] = values
        return table

    @property
    def worth(self) -> FloatArray:
        """What each slot's share adds to the value, as a part of all there is, shape (k,)."""
        value = self.problem.value_per_m2 * self.problem.area_m2
        return (value / max(float(value.sum()), 1e-300))[self.paddock]


def picks(row: IntArray, column: IntArray, shape: tuple[int, int]) -> Any:
    """A matrix with a one at each row and column."""
    return sparse.csr_array((np.ones(len(row)), (row, column)), shape=shape)


def schedule_program(slots: Slots, rate_kg_per_m2: float) -> Program:
    """Write the program of a schedule at one rate."""
    program = Program()
    add_schedule(program, slots, rate_kg_per_m2, slots.problem.capacity_s)
    return program


def add_schedule(
    program: Program,
    slots: Slots,
    rate_kg_per_m2: float,
    capacity_s: FloatArray,
    more_s: Mapping[str, Any] | None = None,
) -> None:
    """Add shares, visits, fills and what is left in the cart, and the rows that bind them.

    Blocks: ``share`` and ``visit`` (k,), ``fills`` and ``cart`` (q,; the cart at the end of
    each day, in loads). A fill is a load or less and goes into an empty cart, so that the cart
    never holds more than one; it may be made days before it is sown. That comes to one row a day:
    what is in the cart in the evening is no more than a load, nor than what was there in the
    morning and a load for each fill, less what was sown (see ``fills_needed``). Where loads must
    not stay, a second row asks for a fill in the days before. At a lower rate
    the same shares and fills, each smaller, keep every row: no rate has more value than the
    least. ``more_s`` is the time that other blocks of the program add to each day of
    ``slots.days``, a matrix (q, size) each.
    """
    problem, more_s = slots.problem, more_s or {}
    count, q = len(slots), len(slots.days)
    each = np.arange(count)
    by_day = picks(slots.place, each, (q, count))
    program.add("share", slots.most)
    program.add("visit", np.ones(count), whole=True)
    within = {"share": sparse.eye_array(count), "visit": -sparse.diags_array(slots.most)}
    program.bind(within, high=0)
    program.bind({"share": picks(slots.paddock, each, (problem.shape[0], count))}, high=1.0)

    # Rows are in hours and in loads: the solver's tolerances are absolute.
    time: dict[str, Any] = {
        "share": by_day @ sparse.diags_array(problem.work_s[slots.paddock] / HOUR_S),
        "visit": by_day * (problem.setup_s / HOUR_S),
        **{name: matrix * (-1 / HOUR_S) for name, matrix in more_s.items()},
    }
    seed_kg = problem.seed_kg(rate_kg_per_m2)
    if problem.counts_fills and problem.load_kg is not None:
        extra = [matrix @ program.upper[name] for name, matrix in more_s.items()]
        day_s = np.sum([capacity_s[slots.days], *extra], axis=0)
        sown = by_day @ sparse.diags_array(seed_kg[slots.paddock] / problem.load_kg)
        # What can be sown in a day needs so many, and one in the evening.
        useful = np.ceil(sown @ slots.most) + 1
        most = np.minimum(np.floor(day_s / problem.refill_s), useful)
        program.add("fills", np.where(slots.days < problem.fills_from, 0, most), whole=True)
        program.add("cart", np.ones(q))
        time["fills"] = sparse.eye_array(q) * (problem.refill_s / HOUR_S)
        kept = sparse.eye_array(q) - sparse.eye_array(q, k=-1)
        cart = {"share": sown, "fills": -sparse.eye_array(q), "cart": kept}
        there = np.where(np.arange(q) == 0, problem.start_kg / problem.load_kg, 0.0)
        program.bind(cart, high=there)
        if problem.within_days is not None:
            # What is in the cart in the evening was put in when the next day could still be sown.
            following = np.append(slots.days[1:], np.iinfo(np.int64).max)
            since = (following - problem.within_days)[:, None]
            fresh = (slots.days > since) & (slots.days <= slots.days[:, None])
            fills = sparse.csr_array(fresh.astype(np.float64))
            high = np.where(since[:, 0] < 0, problem.start_kg / problem.load_kg, 0.0)
            program.bind({"cart": sparse.eye_array(q), "fills": -fills}, high=high)
    program.bind(time, high=capacity_s[slots.days] / HOUR_S)
    if problem.on_hand_kg is not None:
        total = max(float(seed_kg.sum()), 1e-300)
        program.bind({"share": seed_kg[slots.paddock] / total}, high=problem.on_hand_kg / total)
