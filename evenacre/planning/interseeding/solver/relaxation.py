"""What to relax, where not every paddock can be seeded whole: as few things as possible."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from scipy import sparse

from evenacre.model import BoolArray, FloatArray, IntArray
from evenacre.planning.interseeding.plan_types import BEYOND, WEATHER, ScheduleProblem
from evenacre.planning.interseeding.solver.candidate import Candidate, greedy_schedules
from evenacre.planning.interseeding.solver.program import (
    HOUR_S,
    Program,
    Slots,
    Solution,
    add_schedule,
    picks,
)

_DAY_S = 86400.0
_PARTS = frozenset({"visit", "fills"})
_FACTORS = (1.0, 1.01, 1.03, 1.06, 1.1, 1.2, 1.4, 1.7, 2.0, np.inf)
_HALVINGS = 7
_EVEN = ("hours", "weather")  # blocks of one unknown that gives time back on all days
_LEAST = 1e-6
_ROUNDING = 1e-6  # relative; the solver keeps its rows no closer
# Moves beyond so many are told apart where one is by so much the farther.
_EXACT_MOVES, _COARSE = 7, 1.25
_LINEAR_S = 5.0  # for linear programs, which take a fraction of it

Values = dict[str, FloatArray]
Told = tuple[tuple[str, int | None, float], ...]


@dataclass(frozen=True, eq=False)
class Eased:
    """What to relax, and the schedule that there is then."""

    told: Told = ()
    # Seconds that each thing that takes time gives back on each day (n,), by what it is
    given_s: dict[str, FloatArray] = field(default_factory=dict)
    # (m, n); seeds whole what is not out of reach, at the least rate. None: none was found, so
    # that what is told may fall short.
    share: FloatArray | None = None
    fewest: bool = False  # proven: with fewer relaxed there is none
    # Where one thing is enough, besides seed: others that would do in its place, each alone
    others: tuple[Eased, ...] = ()


def smallest_relaxation(problem: ScheduleProblem, *, time_limit_s: float = 2.0) -> Eased:
    """Find the fewest constraints to relax so that every paddock is seeded whole.

    What can be relaxed: the seed, the hours of the days (by as much each, as far as the day has
    room), each thing that takes time, and each rule that shuts a paddock. Of the sets with the
    fewest, one that relaxes little is taken, and of it no more than is needed: by drill time,
    where a day that a rule moves counts as a mean day of the drill. Everything is seeded at the
    least rate. Paddocks without ground or value are left out.

    Where the time limit does not suffice, visits and fills count as parts of whole ones: the set
    is then no larger than the smallest. Plain rules look for a schedule with it, and amounts grow
    until there is one. Where it does not suffice even for that, time is given back by one thing
    alone, if that will do; otherwise nothing is told.

    Told are what to relax, the paddock, and how much: kg of ``"seed"``, seconds a day of
    ``"hours"``, seconds in all of what takes time (of ``WEATHER`` the same part each day), and how
    far a rule has to move, in its own unit. A paddock that cannot be seeded whole even with
    everything relaxed is told as ``BEYOND`` with the share of it that is out of reach, and what
    is told besides is for the others. Nothing when every paddock can be seeded whole.
    """
    end = time.monotonic() + time_limit_s
    others = [far for rule, far in problem.forbidden.items() if rule not in problem.common]
    shut = np.logical_or.reduce([np.zeros(problem.shape, bool), *others])
    if not shut[:, : problem.fills_from].all():
        problem = replace(problem, fills_from=0)  # the first day of all may be one that moves
    task = _Relaxing(problem)
    found = _smallest(task, end)
    end = min(end, time.monotonic() + time_limit_s / 3)
    return replace(found, others=tuple(task.others(found, end=end)))


def _smallest(task: _Relaxing, end: float) -> Eased:
    if not len(task.slots):
        return task.eased(None, task.problem.worth_seeding.astype(float))
    beyond = task.beyond(_PARTS, _LINEAR_S)
    if beyond is None:  # there was no time even for a linear program
        return task.one_alone(0.0)
    found = task.fewest_by_parts(beyond, time_limit_s=(end - time.monotonic()) / 3)
    alone = Eased() if found.optimal else task.one_alone(found.bound)
    best = None if alone.told else task.by_parts(found, beyond, end=end)
    if best is None:
        return alone
    simple = task.enough(best, beyond)
    if simple is not None and task.cost(simple) <= task.least_cost(best) * (1 + _ROUNDING):
        return task.eased(simple, beyond)
    exact = task.least(best, beyond, time_limit_s=end - time.monotonic())
    if exact.infeasible:
        exactly = task.exactly(end=end)
        if exactly is not None:
            return exactly
    if exact.values is not None and (simple is None or task.cost(exact.values) < task.cost(simple)):
        return task.eased(exact.values, beyond)
    alone = Eased() if simple is not None or not found.optimal else task.one_alone(found.bound)
    return alone if alone.told else task.eased(simple or best, beyond)


@dataclass(frozen=True, eq=False)
class _Group:
    """A rule that can be moved, for one paddock or for all, and how far opens which slots."""

    rule: str
    paddock: int | None
    # (s,); slots that it shuts, and how far it has to move for each
    slot: IntArray
    far: FloatArray

    @cached_property
    def moves(self) -> FloatArray:
        """Moves that the program tells apart, from the least on; far ones are taken together."""
        kept: list[float] = []
        begin = 0.0
        for move in np.unique(self.far).tolist():
            if len(kept) < _EXACT_MOVES or move > _COARSE * begin:
                kept.append(move)
                begin = move
            kept[-1] = move
        return np.array(kept)

    @cached_property
    def level(self) -> IntArray:
        """Which of ``moves`` opens each slot, (s,)."""
        return np.searchsorted(self.moves, self.far)

    def moved(self, used: BoolArray) -> float:
        """How far it has to move for the slots that are used, (k,)."""
        return float(self.far[used[self.slot]].max(initial=0.0))


class _Relaxing:
    """The program: every paddock whole, and a switch for each constraint.

    Blocks besides those of a schedule: ``relaxed``, a switch each for hours, what takes time
    and groups, in this order; ``hours`` (1,; s) and ``longer`` (q,; s), what they add to each
    day; ``weather`` (1,), the share of what it takes; ``given`` (t * q,; s), what each other taken
    time gives back on each day; ``moved``, for each group whether it is moved so far or farther, a
    level each; ``missing`` (m,), the share of a paddock that is out of reach.
    """

    def __init__(self, problem: ScheduleProblem) -> None:
        self.problem, self.program = problem, Program()
        self.fewest = False
        capacity = problem.capacity_s
        self.weather_s = problem.taken_s.get(WEATHER, np.zeros_like(capacity))
        self.taken = [w for w, taking in problem.taken_s.items() if w != WEATHER and taking.any()]
        given = sum((problem.taken_s[w] for w in self.taken), np.zeros_like(capacity))
        none = np.zeros_like(capacity)
        self.longer_s = none if problem.longer_s is None else problem.longer_s
        most = capacity + self.longer_s + self.weather_s + given
        hard = {rule: np.isinf(shut) for rule, shut in problem.forbidden.items()}
        # Of all days that rules could open; the seed of their problem does not bind: how much
        # of it is short hangs on nothing else.
        free = replace(problem, on_hand_kg=None, forbidden=hard)
        self.slots = Slots.of(free, free.open_days, most)
        self.groups = list(self._groups())
        self.names: list[tuple[str, int | None]] = [
            ("hours", None),
            (WEATHER, None),
            *((what, None) for what in self.taken),
            *((group.rule, group.paddock) for group in self.groups),
        ]
        if len(self.slots):
            self._write()

    def _groups(self) -> Iterator[_Group]:
        problem, slots = self.problem, self.slots
        for rule, shut in problem.forbidden.items():
            far = np.asarray(shut, dtype=float)[slots.paddock, slots.day]
            whose = np.zeros_like(slots.paddock) if rule in problem.common else slots.paddock
            for p in np.unique(whose[far > 0]):
                slot = np.flatnonzero((far > 0) & (whose == p))
                whole = rule in problem.common
                yield _Group(rule, None if whole else int(p), slot, far[slot])

    def _write(self) -> None:
        problem, program, slots = self.problem, self.program, self.slots
        m, count, k = problem.shape[0], len(self.names), len(slots)
        t, q = len(self.taken), len(slots.days)
        given = np.array([problem.taken_s[what][slots.days] for what in self.taken]).ravel()
        longer = self.longer_s[slots.days]
        levels = sum(len(group.moves) for group in self.groups)
        program.add("relaxed", np.ones(count), whole=True)
        program.add("hours", np.array([longer.max(initial=0.0)]))
        program.add("longer", longer)
        program.add("weather", np.array([float(self.weather_s.any())]))
        program.add("given", given)
        program.add("moved", np.ones(levels))
        program.add("missing", problem.worth_seeding.astype(float))
        more_s = {
            "longer": sparse.eye_array(q),
            "weather": sparse.csr_array(self.weather_s[slots.days][:, None]),
            "given": picks(np.tile(np.arange(q), t), np.arange(t * q), (q, t * q)),
        }
        add_schedule(program, slots, problem.least_rate_kg_per_m2, problem.capacity_s, more_s)
        # Nothing is relaxed without its switch; each paddock is whole but for what is missing.
        for place, name in enumerate(_EVEN):
            most = -program.upper[name]
            switch = sparse.csr_array((most, ([0], [place])), shape=(1, count))
            program.bind({name: sparse.eye_array(1), "relaxed": switch}, high=0.0)
        each = sparse.csr_array(np.ones((q, 1)))
        program.bind({"longer": sparse.eye_array(q), "hours": -each}, high=0.0)
        if t:
            by_what = picks(np.arange(t * q), 2 + np.repeat(np.arange(t), q), (t * q, count))
            switch = sparse.diags_array(-given) @ by_what
            program.bind({"given": sparse.eye_array(t * q), "relaxed": switch}, high=0.0)
        share = picks(slots.paddock, np.arange(k), (m, k))
        whole = {"share": share, "missing": sparse.eye_array(m)}
        program.bind(whole, low=problem.worth_seeding.astype(float))
        if levels:
            self._bind_moves(count, levels)

    def _bind_moves(self, count: int, levels: int) -> None:
        """A visit needs each rule that shuts its slot moved so far, and before that less far."""
        ends = np.cumsum([len(group.moves) for group in self.groups])
        starts = ends - [len(group.moves) for group in self.groups]
        slot = np.concatenate([group.slot for group in self.groups])
        level = np.concatenate([g.level + s for g, s in zip(self.groups, starts, strict=True)])
        pairs = len(slot)
        visit = picks(np.arange(pairs), slot, (pairs, len(self.slots)))
        moved = picks(np.arange(pairs), level, (pairs, levels))
        self.program.bind({"visit": visit, "moved": -moved}, high=0.0)
        first = np.zeros(levels, dtype=bool)
        first[starts] = True
        place = count - len(self.groups) + np.arange(len(self.groups))
        before = sparse.eye_array(levels, k=-1, format="csr")
        before = sparse.diags_array((~first).astype(float)) @ before
        chain = sparse.eye_array(levels) - before
        switch = -picks(starts, place, (levels, count))
        self.program.bind({"moved": chain, "relaxed": switch}, high=0.0)

    @property
    def count_cost(self) -> Values:
        """What counts the relaxed."""
        return {"relaxed": np.ones(len(self.program.upper["relaxed"]))}

    @property
    def _mean_day(self) -> float:
        capacity = self.problem.capacity_s
        return float(capacity[capacity > 0].mean()) if capacity.any() else _DAY_S / 2

    def _days(self, rule: str) -> float:
        """Drill time that a rule's move of one counts as, in hours."""
        return self._mean_day / HOUR_S / self.problem.counts_as_day.get(rule, 1.0)

    @property
    def amount_cost(self) -> Values:
        """What adds up how much is relaxed, in hours of the drill."""
        steps = [np.diff(g.moves, prepend=0.0) * self._days(g.rule) for g in self.groups]
        return {
            "hours": np.array([(self.longer_s > 0).sum() / HOUR_S]),
            "weather": np.array([self.weather_s.sum() / HOUR_S]),
            "given": np.full(len(self.program.upper["given"]), 1 / HOUR_S),
            "moved": np.concatenate([*steps, np.zeros(0)]),
        }

    def cost(self, values: Values) -> float:
        """How much values with whole visits relax, in hours of the drill."""
        used = values["visit"] > _LEAST
        moved = sum(group.moved(used) * self._days(group.rule) for group in self.groups)
        rest = {**values, "moved": np.zeros_like(values["moved"])}
        return moved + self.least_cost(rest)

    def least_cost(self, values: Values) -> float:
        """The same where visits may be parts of whole ones: no schedule relaxes less."""
        return sum(float(cost @ values[name]) for name, cost in self.amount_cost.items())

    def beyond(self, loose: frozenset[str], time_limit_s: float) -> FloatArray | None:
        """Share of each paddock that is out of reach with everything relaxed; None: not known."""
        cost = {"missing": np.ones(self.problem.shape[0])}
        found = self.program.solve(
            cost, time_limit_s=time_limit_s, fixed=self.count_cost, loose=loose
        )
        if found.values is None:
            return None
        missing = found.values["missing"]
        return np.where(missing > _LEAST, missing, 0.0)

    def fewest_by_parts(self, beyond: FloatArray, *, time_limit_s: float) -> Solution:
        """The fewest where visits and fills may be parts of whole ones."""
        return self.program.solve(
            self.count_cost, time_limit_s=time_limit_s, fixed=_reached(beyond), loose=_PARTS
        )

    def by_parts(self, found: Solution, beyond: FloatArray, *, end: float) -> Values | None:
        """Of the fewest the least, where visits and fills may be parts of whole ones.

        Without time to prove the fewest, so may switches, and a part of one counts as whole.
        """
        if not found.optimal:
            loose = _PARTS | {"relaxed"}
            parts = self.program.solve(
                self.count_cost, time_limit_s=_LINEAR_S, fixed=_reached(beyond), loose=loose
            )
            if parts.values is not None and _switches(parts.values).sum() <= found.cost:
                least = self.least(parts.values, beyond, time_limit_s=_LINEAR_S, loose=_PARTS)
                return least.values or parts.values
        if found.values is None:
            return None
        self.fewest = found.optimal
        count = float(np.round(found.cost))
        least = self.program.narrowed(self.count_cost, high=count).solve(
            self.amount_cost,
            time_limit_s=(end - time.monotonic()) / 2,
            fixed=_reached(beyond),
            loose=_PARTS,
        )
        return least.values or found.values

    def least(
        self,
        chosen: Values,
        beyond: FloatArray,
        *,
        time_limit_s: float,
        loose: frozenset[str] = frozenset(),
    ) -> Solution:
        """The least amounts for a chosen set."""
        fixed = {"relaxed": _switches(chosen), **_reached(beyond)}
        return self.program.solve(
            self.amount_cost, time_limit_s=time_limit_s, gap=1e-4, fixed=fixed, loose=loose
        )

    def exactly(self, *, end: float) -> Eased | None:
        """The fewest with whole visits and fills from the start; None: no time for it."""
        beyond = self.beyond(frozenset(), end - time.monotonic())
        if beyond is None:
            return None
        left = end - time.monotonic()
        fewest = self.program.solve(self.count_cost, time_limit_s=left, fixed=_reached(beyond))
        if fewest.values is None:
            return None
        self.fewest = fewest.optimal
        least = self.least(fewest.values, beyond, time_limit_s=end - time.monotonic())
        return self.eased(least.values or fewest.values, beyond)

    def one_alone(self, least: float) -> Eased:
        """Look for one thing that gives back time enough, by plain rules, or for none at all.

        ``least`` things are needed, as far as is known.
        """
        none = {name: np.zeros_like(upper) for name, upper in self.program.upper.items()}
        everything = np.zeros(self.problem.shape[0])
        found = self.enough(none, everything, factors=[1.0])
        if found is not None:
            self.fewest = True
            return self.eased(found, everything)
        for place in range(len(self.names) - len(self.groups)):
            values = {**none, "relaxed": np.eye(len(self.names))[place]}
            if place < len(_EVEN):
                values[_EVEN[place]] = self.program.upper[_EVEN[place]]
            else:
                given = none["given"].reshape(-1, len(self.slots.days)).copy()
                given[place - len(_EVEN)] = 1.0
                values["given"] = given.ravel() * self.program.upper["given"]
            found = self.enough(values, everything, factors=[1.0])
            if found is None:
                continue
            low, high = 0.0, 1.0
            for _ in range(_HALVINGS):
                middle = (low + high) / 2
                less = self.enough(values, everything, factors=[middle])
                low, high = (middle, high) if less is None else (low, middle)
                found = less or found
            self.fewest = least > _LEAST
            return self.eased(found, everything)
        return Eased()

    def others(self, eased: Eased, *, end: float) -> Iterator[Eased]:
        """Whatever would do alone in place of the one thing that is told, while there is time."""
        told = [name for *name, _ in eased.told if name[0] not in ("seed", BEYOND)]
        if len(told) != 1:
            return
        beyond = np.zeros(self.problem.shape[0])
        for rule, paddock, share in eased.told:
            if rule == BEYOND and paddock is not None:
                beyond[paddock] = share
        for place, name in enumerate(self.names):
            left = end - time.monotonic()
            if list(name) in told or left <= 0:
                continue
            chosen = {"relaxed": np.eye(len(self.names))[place]}
            found = self.least(chosen, beyond, time_limit_s=left, loose=_PARTS)
            values = None if found.values is None else self.enough(found.values, beyond)
            other = None if values is None else self.eased(values, beyond)
            if other is not None and other.share is not None:
                yield other

    def enough(
        self, values: Values, beyond: FloatArray, *, factors: Sequence[float] = _FACTORS
    ) -> Values | None:
        """Look for a schedule, by plain rules, that a relaxation makes room for.

        Where there is none, the same things are relaxed somewhat more. Returned are values with
        whole visits.
        """
        slots, rate, upper = self.slots, self.problem.least_rate_kg_per_m2, self.program.upper
        on = _switches(values) > 0
        used = values["visit"] > _LEAST
        wanted = (self.problem.worth_seeding & (beyond == 0)).astype(float)
        for factor in factors:
            amounts = {
                name: self._times(values[name], factor, upper[name], name)
                for name in ("hours", "weather", "given")
            }
            free = replace(slots.problem, capacity_s=self._capacity(amounts))
            for kept in (used, np.ones_like(used)):
                there = Slots.of(free, self._opened(values, kept, on, factor), free.capacity_s)
                for share in greedy_schedules(there, rate, free.capacity_s, wanted):
                    if (share.sum(axis=1) < wanted - _LEAST).any():
                        continue
                    if Candidate.of(free, share, rate).fits:
                        shares = share[slots.paddock, slots.day]
                        visit = (shares > 0).astype(np.float64)
                        return {**values, **amounts, "share": shares, "visit": visit}
        return None

    def _times(self, value: FloatArray, factor: float, most: FloatArray, name: str) -> FloatArray:
        """So many times an amount, as far as there is any; without end: all of what is relaxed."""
        if np.isfinite(factor):
            return np.minimum(value * factor, most)
        t, q = len(self.taken), len(self.slots.days)
        given = value.reshape(t, q).any(axis=1) if name == "given" else value > 0
        return np.where(np.repeat(given, q) if name == "given" else given, most, 0.0)

    def _opened(self, values: Values, kept: BoolArray, on: BoolArray, factor: float) -> BoolArray:
        """Days (m, n) that moving the rules so many times as far opens, of those kept."""
        slots = self.slots
        opened = np.ones(len(slots), dtype=bool)
        for place, group in enumerate(self.groups, len(self.names) - len(self.groups)):
            most = group.moved(values["visit"] > _LEAST) * factor if on[place] else 0.0
            opened[group.slot[group.far > most * (1 + _ROUNDING)]] = False
        return self.problem.open_days | (slots.spread((opened & kept).astype(np.float64)) > 0)

    def _capacity(self, values: Values) -> FloatArray:
        """Time of each day (n,) with what is given back to it."""
        problem, slots = self.problem, self.slots
        capacity = problem.capacity_s + np.minimum(values["hours"][0], self.longer_s)
        capacity = capacity + values["weather"][0] * self.weather_s
        for given in values["given"].reshape(-1, len(slots.days)):
            capacity[slots.days] += given
        return capacity

    def eased(self, values: Values | None, beyond: FloatArray) -> Eased:
        """Seed, hours, what takes time, rules, and paddocks out of reach."""
        problem, slots = self.problem, self.slots
        within = problem.worth_seeding & (beyond == 0)
        told: list[tuple[str, int | None, float]] = []
        given_s: dict[str, FloatArray] = {}
        share: FloatArray | None = np.zeros(problem.shape)  # nothing is asked for without values
        if problem.on_hand_kg is not None:
            least = problem.seed_kg(problem.least_rate_kg_per_m2)
            short = float(least[within].sum()) - problem.on_hand_kg
            if short > _LEAST * max(problem.on_hand_kg, 1.0):
                told.append(("seed", None, short))
        if values is not None:
            more = 1 + _ROUNDING
            upper = self.program.upper
            rounded = {
                n: np.where(values[n] > _LEAST, np.minimum(values[n] * more, upper[n]), 0.0)
                for n in ("hours", "weather", "given")
            }
            given = rounded["given"].reshape(-1, len(slots.days))
            given_s[WEATHER] = rounded["weather"][0] * self.weather_s
            for what, seconds in zip(self.taken, given, strict=True):
                given_s[what] = np.zeros(problem.shape[1])
                given_s[what][slots.days] = seconds
            moved = [group.moved(values["visit"] > _LEAST) for group in self.groups]
            weather = given_s[WEATHER].sum()
            amounts = [*rounded["hours"], weather, *given.sum(axis=1), *moved]
            named = zip(self.names, amounts, strict=True)
            told += [(*name, float(amount)) for name, amount in named if amount > 0]
            share = self._checked(values, within, self._capacity(rounded))
        told += [(BEYOND, int(p), float(beyond[p])) for p in np.nonzero(beyond)[0]]
        return Eased(tuple(told), given_s, share, self.fewest)

    def _checked(
        self, values: Values, within: BoolArray, capacity_s: FloatArray
    ) -> FloatArray | None:
        """Shares that seed whole what is within reach in the time there is; None: they do not."""
        slots = self.slots
        share = slots.spread(np.where(values["visit"] > _LEAST, values["share"], 0.0))
        share = np.where(within[:, None] & (share > _LEAST), share, 0.0)
        total = share.sum(axis=1, keepdims=True)
        if (total[within] < 1 - 10 * _LEAST).any():
            return None
        share = np.divide(share, total, out=np.zeros_like(share), where=total > 0)
        free = replace(slots.problem, capacity_s=capacity_s * (1 + 10 * _LEAST))
        fits = Candidate.of(free, share, self.problem.least_rate_kg_per_m2).fits
        return share if fits else None


def _switches(values: Values) -> FloatArray:
    """A switch counts as on, however little it is on."""
    return np.ceil(values["relaxed"] - _LEAST)


def _reached(beyond: FloatArray) -> Values:
    """Nothing is missing of the paddocks within reach; the others ask for nothing."""
    return {"missing": np.where(beyond > 0, np.nan, 0.0)}
