"""Drive runs one after another with a whole rig that stays inside a fence."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, partial
from typing import Any

import numpy as np
import shapely
from shapely import ops
from shapely.geometry.base import BaseGeometry

from evenacre.model import FloatArray
from evenacre.planning.ground import overlaid
from evenacre.planning.passes.bends import Bend, Way, as_turns, drawn, joined, standing
from evenacre.planning.passes.candidates import Candidates
from evenacre.planning.passes.detours import Detours
from evenacre.planning.passes.fence import Fence
from evenacre.planning.passes.pass_types import PlannedPass, PlannedTurn
from evenacre.planning.passes.rig import Rig
from evenacre.planning.passes.run_lines import (
    curve_along,
    headings_led,
    pose_at,
    straight_tail_m,
    toward,
)
from evenacre.planning.passes.swaths import swath
from evenacre.planning.passes.turns import shortest_turns

# How much sooner the tool is lifted, or later let down, where a turn has no room.
_CUTS_M = (
    0.0,
    0.5,
    1.0,
    1.5,
    2.0,
    3.0,
    4.0,
    5.0,
    6.5,
    8.0,
    10.0,
    12.5,
    15.0,
    18.0,
    22.0,
    27.0,
    33.0,
)
# From this cut on, cutting one of two runs alone is tried too.
_FAR_CUT_M = 6.5
# A run of less than this share of the width is none.
_SHORT = 0.5
# On its way round what must not be driven over the tool keeps so far away, and that is taken so
# much coarser; ways by more corners are not looked for.
_CLEAR_M = 0.2
_COARSER_M = (0.15, 0.5, 1.0, 2.0, 4.0, 8.0)
_MOST_CORNERS = 6
# A turn that has no room but where runs are cut short counts as so much longer than straight on.
_NO_ROOM_M = 60.0
# Between the points of a turn that is told of.
_FINE_M = 0.25
# What is written is off by no more than this for points that are left out.
_EXACT_M = 0.001
# A run bends no more than this where a corner begins or ends.
_STRAIGHT_RAD = math.radians(2.0)
# Into a sharper or flatter corner than this a run does not go on with the tool down.
_CORNER_RAD = (math.radians(3.0), math.radians(150.0))
_HEADINGS = 12
# Through a gate askew by so much, and until so much farther in than it has to.
_ASKEW_RAD = np.radians([0.0, 30.0, -30.0, 60.0, -60.0])
_AHEAD_M = (0.3, 3.0, 8.0, 15.0)
# The drive begins at the first of the places this far apart along a run that has room.
_BEGIN_STEP_M = 0.5
# A ring is begun at one of the places this far apart, of which so many are tried, some at once.
_BEGIN_M = 10.0
_IN_LINE_RADII = 3.0
# The way on from the last ring goes over ground that is done, and counts so many times.
_OVER_DONE = 2.0
_BEGINS = 24
_AT_ONCE = 8
# Less ground than this share of a square of the width is not worth another turn.
_BARE = 0.05
# A run does not go on straight farther than this (widths) to a corner.
_FAR_WIDTHS = 2.0
# A run that bends on a wider circle than so many of the tightest ones counts as straight.
_STRAIGHT_RADII = 12.0


@dataclass(frozen=True)
class Run:
    """One run to drive, where it belongs in its ring, and whether it may be driven either way."""

    kind: str
    number: int
    line: shapely.LineString
    ring: int | None = None  # which closed round it is a leg of
    block: int | None = None


@dataclass
class Driver:
    """What was driven so far."""

    rig: Rig
    fence: Fence
    # What may be worked, where there is ground inside the fence besides
    workable: BaseGeometry | None = None
    # All inside the fence, where the ground to drive on is in several parts
    loose: Fence | None = None
    passes: list[PlannedPass] = field(default_factory=list)
    # Of the tool's axle, in one or more parts each
    turns: list[list[Way]] = field(default_factory=list)
    dropped: int = 0
    missed: list[Run] = field(default_factory=list)
    stuck_at: int = 0  # how many had been missed when the last turn was found
    crossings: int = 0  # turns over ground that is not to be driven on
    cut_at: int = 0  # which cut the last turn needed
    trailing: FloatArray = field(default_factory=lambda: np.zeros(0))
    trailing_before: FloatArray = field(default_factory=lambda: np.zeros(0))  # the last run
    # Stretches of runs along which all is inside
    stretches: dict[shapely.LineString, list[shapely.LineString]] = field(default_factory=dict)
    # How the tool heads along bent runs
    headings: dict[shapely.LineString, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    # From where a pose can be come to
    arrivals: dict[tuple[float, ...], tuple[FloatArray, ...]] = field(default_factory=dict)
    # Ways to there, likewise
    departures: dict[tuple[float, ...], Any] = field(default_factory=dict)
    # Come in by a gate: the pose of the axle where all of the rig is inside, and the way to the
    # first run
    entry: FloatArray | None = None
    way_in: shapely.LineString | None = None

    def __post_init__(self) -> None:
        self.candidates = Candidates(self.rig)
        if self.workable is not None:
            shapely.prepare(self.workable)

    @cached_property
    def detours(self) -> Detours:
        """Ways round what the rig must not leave."""
        clear_m = self.rig.width_m / 2 + _CLEAR_M
        return Detours(self.fence.ground, clear_m, self.rig.radius_m, _COARSER_M)

    def turned(self) -> tuple[list[PlannedTurn], list[shapely.LineString]]:
        """The turns, and the hitch pin's way along each run.

        All of the drive is one way: what pulls the tool steers at the end of each part for the
        next.
        """
        turns = [[way.finer(_FINE_M) for way in ways] for ways in self.turns]
        parts: list[list[Way]] = []
        for number, run in enumerate(self.passes):
            ends = turns[number][0].heading_rad[0] if number < len(turns) else None
            in_line = not self.rig.settles_m and shapely.get_num_points(run.line) == 2
            along = self._along(run.line, run.line.length if in_line else _FINE_M, ends)
            if parts:
                # It comes to where the run begins but for a centimetre or two.
                parts[-1][-1] = parts[-1][-1].led_to(along.begin)
            parts += [[along], *turns[number : number + 1]]
        if not parts:
            return [], []
        each = [joined(*ways) for ways in parts]
        pin = self.rig.pulled_by(joined(*each))[-1][0]
        until = np.cumsum([len(way.xy) - 1 for way in each])
        pins = [
            shapely.LineString(pin[end + 1 - len(way.xy) : end + 1])
            for way, end in zip(each, until, strict=True)
        ]
        return [
            PlannedTurn(shapely.LineString(self.rig.tool_xy(way)), line, way.backs_m)
            for way, line in zip(each[1::2], pins[1::2], strict=True)
        ], [line.simplify(_EXACT_M) for line in pins[::2]]

    def drive(self, runs: Sequence[Run]) -> None:
        """Drive runs in this order; those that cannot be reached are left out and counted."""
        self._look_at_straights(run.line for run in runs)
        parts = [[replace(run, line=stretch) for stretch in self.fitting(run.line)] for run in runs]
        self._look_ahead([part.line for some in parts for part in some])
        for run, some in zip(runs, parts, strict=True):
            for part in some:
                on = part is some[0] and self._in_ring(run)
                if not (on and self._corner(part)):
                    self._reach(part)

    def _look_at_straights(self, lines: Iterable[shapely.LineString]) -> None:
        """Find those straight runs all of which fits, all at once."""
        straight = [line for line in lines if shapely.get_num_points(line) == 2]
        if straight:
            ends = shapely.get_coordinates(straight).reshape(-1, 2, 2)
            for line, held in zip(
                straight, self.fence.has_straight(self.rig.pulled, ends), strict=True
            ):
                if held:
                    self.stretches[line] = [line]

    def _look_ahead(self, lines: Sequence[shapely.LineString]) -> None:
        """Work out ways from the end of each run to the next, all at once."""
        if len(lines) > 1:
            ends = np.array([self._axle(line, line.length) for line in lines[:-1]])
            begins = np.array([self._axle(line, 0.0) for line in lines[1:]])
            self.candidates.ask(ends, begins, self.fence, self.rig.bend)

    def turns_take(self, starts: FloatArray, ends: FloatArray) -> FloatArray:
        """Expect so many metres of going forward for turns between poses of the openers (n, 3)."""
        ahead = self.rig.tool_behind_m
        starts, ends = (
            poses + ahead * np.column_stack([toward(poses[:, 2]).T, np.zeros(len(poses))])
            for poses in (starts, ends)
        )
        takes = self.candidates.take_m(starts, ends, self.fence, self.rig.bend)
        far = np.hypot(*(ends - starts)[:, :2].T) + _NO_ROOM_M
        return np.where(np.isfinite(takes), takes, far)

    def drive_ring(self, ring: Sequence[Run], toward: FloatArray | None = None) -> None:
        """Drive a closed ring from where a turn onto it is short and has room, either way about.

        The leg it begins on is cut in two there, and the ring ends where it began: near to a place
        it is driven ``toward``.
        """
        begun = self._begun(ring, toward) if self._start() is not None else self._opened(ring)
        first, rest = begun or (ring[0], ring)
        self.drive(rest)
        if len(ring) > 1 and first is not None and self._in_ring(first):
            self._corner(first, closing=True)

    def _begun(
        self, ring: Sequence[Run], toward: FloatArray | None
    ) -> tuple[Run | None, list[Run]] | None:
        """Turn onto a ring, and work to the end of the leg it is begun on.

        Returns that leg, where it was begun at its beginning, and the runs that are left.
        """
        # After less of a leg than this the rig is not in line before its corner.
        least = self.rig.ahead_m + self.rig.back_m + _IN_LINE_RADII * self.rig.radius_m
        ways = [[*ring], other_way(ring)]
        places = [
            (way, leg, float(at))
            for way in ways
            for leg, run in enumerate(way)
            for at in np.arange(0.0, max(run.line.length - least, 1e-6), _BEGIN_M)
        ]
        start = self._start()
        assert start is not None
        ends = np.array([self._axle(way[leg].line, at) for way, leg, at in places])
        _, parts = shortest_turns(
            np.repeat(start[None], len(ends), axis=0), ends, self.rig.radius_m
        )
        far = self.rig.radius_m * parts.sum(axis=1)
        if toward is not None:
            far += _OVER_DONE * np.hypot(*(ends[:, :2] - toward[:2]).T)
        nearest = np.argsort(far, kind="stable")[:_BEGINS]
        some = np.split(nearest, range(_AT_ONCE, len(nearest), _AT_ONCE))
        for few, bend in itertools.product(some, self.rig.bends):
            self.candidates.ask(np.tile(start, (len(few), 1)), ends[few], self.fence, bend)
            for way, leg, at, end in ((*places[k], ends[k]) for k in few):
                begun = self._begun_at(way, leg, at, end, bend)
                if begun is not None:
                    return begun
        return None

    def _opened(self, ring: Sequence[Run]) -> tuple[Run | None, list[Run]] | None:
        """Begin the drive on a ring, where it has room for all of the rig; as `_begun`."""
        for leg, run in enumerate(ring):
            at = self._first_stand(run.line)
            if at is not None:
                begun = self._begun_at([*ring], leg, at, self._axle(run.line, at), None)
                if begun is not None:
                    return begun
        return None

    def _begun_at(
        self, ring: list[Run], leg: int, at: float, end: FloatArray, bend: Bend | None
    ) -> tuple[Run | None, list[Run]] | None:
        """Turn onto a leg of a ring at a place, where the axle comes to a pose; as `_begun`.

        No ``bend``: the drive begins there.
        """
        found = None
        if bend is not None:
            start = self._start()
            assert start is not None
            goes = self._begin_of(ring[leg].line, at)
            found = self._way(start, end, self._came(0.0), goes, bend=bend)
            if found is None:
                return None
        run = ring[leg]
        whole = ops.substring(run.line, at, run.line.length)
        fit = self.fitting(whole)
        if not fit or fit[0].coords[0] != whole.coords[0]:
            return None
        if found is None:
            self.trailing = np.full(len(self.rig.behind), end[2])
        else:
            self._take(0.0, *found)
        self._work(replace(run, line=fit[0]))
        for stretch in fit[1:]:
            self._reach(replace(run, line=stretch))
        rest = [*ring[leg + 1 :], *ring[:leg]]
        if at == 0.0:
            return run, rest
        return None, [*rest, replace(run, line=ops.substring(run.line, 0.0, at))]

    def enter(self, gate: FloatArray) -> bool:
        """Begin in a gate, a pose heading in: straight in until all of the rig is inside."""
        for askew, ahead in itertools.product(_ASKEW_RAD, _AHEAD_M):
            pose = np.array([*gate[:2], gate[2] + askew])
            pose[:2] += (self.rig.back_m + ahead) * toward(pose[2])
            pose = self._axle_of(pose)
            if self._stands(pose):
                self.entry = pose
                self.trailing = np.full(len(self.rig.behind), pose[2])
                return True
        return False

    def leave(self, gate: FloatArray) -> shapely.LineString | None:
        """The way out from the last run, to where the foremost point is in the gate."""
        start = self._start()
        for askew, ahead in itertools.product(_ASKEW_RAD, _AHEAD_M):
            pose = np.array([*gate[:2], gate[2] + askew])
            pose[:2] += (self.rig.ahead_m + ahead) * toward(pose[2])
            pose[2] += np.pi
            end = self._axle_of(pose)
            if start is None or not self._stands(end):
                continue
            came = self._came(0.0)
            for bend in self.rig.bends:
                found = self._way(start, end, came, bend=bend)
                if found is not None:
                    return self._way_of_tool(found[0])
            found = self._around(start, end, came) or self._led_round(start, end, came)
            if found is not None:
                return self._way_of_tool(found[0])
        return None

    def _start(self) -> FloatArray | None:
        """Where the tool's axle is now; None: anywhere."""
        return self._from(0.0) if self.passes else self.entry

    def _from(self, cut_m: float) -> FloatArray:
        """Where the tool's axle is when the last run ends so much sooner."""
        if not self.passes:
            assert self.entry is not None
            return self.entry
        last = self.passes[-1].line
        return self._axle(last, last.length - cut_m)

    def _came(self, cut_m: float) -> Way:
        """The way to where the tool's axle is when the last run ends so much sooner.

        So much of it as what pulls the tool may steer for what comes next.
        """
        far, end = self.rig.settles_m, self._from(cut_m)
        if not self.passes or not far:
            return standing(end)
        last = self.passes[-1].line
        until = last.length - cut_m
        way = self._along(ops.substring(last, max(until - far, 0.0), until), end_rad=end[2])
        before = self.turns[-1] if self.turns and until < far else ()
        return joined(*before, way).last(far)

    def _begin_of(self, line: shapely.LineString, at: float) -> Way | None:
        """The way on from a place of a run, so much of it as is steered for before."""
        far = self.rig.settles_m
        if not far or shapely.get_num_points(line) == 2:
            return None
        return self._along(ops.substring(line, at, at + far))

    def _trailing_at(self, cut_m: float) -> FloatArray:
        """How the units behind the tool head when the last run ends so much sooner."""
        if cut_m <= 0 or not self.passes or not self.rig.behind:
            return self.trailing
        line = self.passes[-1].line
        begun = ops.substring(line, 0.0, line.length - cut_m)
        return self.rig.places(self._along(begun), self.trailing_before)[1]

    def _in_ring(self, run: Run) -> bool:
        """Whether what was driven last is of the same ring."""
        return run.ring is not None and bool(self.passes) and self.passes[-1].ring == run.ring

    def fitting(self, line: shapely.LineString) -> list[shapely.LineString]:
        """Stretches of a run along which the tool and what pulls it are inside, in line."""
        if line not in self.stretches:
            self.stretches[line] = self._fitting(line)
        return self.stretches[line]

    def _fitting(self, line: shapely.LineString) -> list[shapely.LineString]:
        way = self._along(line)
        held = self.fence.holds_each(self.rig.pulled.places(way, np.zeros(0))[0])
        if held.all():
            return [line]
        at = self._reached(line, way)
        edge = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(int)))
        found = []
        for first, last in zip(edge[::2], edge[1::2] - 1, strict=True):
            if at[last] - at[first] >= _SHORT * self.rig.width_m:
                found.append(ops.substring(line, float(at[first]), float(at[last])))
        return found

    def _reached(self, line: shapely.LineString, way: Way) -> FloatArray:
        """How far along a run the openers are at each place of the axle's way."""
        step = np.hypot(*np.diff(self.rig.tool_xy(way), axis=0).T)
        at = np.append(0.0, np.cumsum(step))
        return np.asarray(at * (line.length / at[-1]))

    def _along(
        self, line: shapely.LineString, step_m: float | None = None, end_rad: float | None = None
    ) -> Way:
        """The tool's axle along a run, at the end of which the tool heads as told.

        Corners of the line stand for a curve, along which it goes.
        """
        xy, course = curve_along(line, step_m or self.rig.step_m)
        length = np.hypot(*np.diff(xy, axis=0).T)
        if end_rad is not None:
            course[-1] += np.angle(np.exp(1j * (end_rad - course[-1])))
        behind = self.rig.tool_behind_m
        heading = (
            headings_led(course, length, behind) if behind > 0 and np.ptp(course) > 0 else course
        )
        at = np.concatenate([[0.0], np.cumsum(length)])
        bent = np.gradient(heading, at) if len(at) > 2 else np.zeros(len(at))
        return Way(xy + behind * toward(heading).T, heading, bent, float(at[-1]))

    def _reach(self, run: Run) -> None:
        """Turn from the last run to the next."""
        if self._start() is None:
            self._begin(run)
            return
        found = self._cut_turn(run)
        if found is None:
            self.missed.append(run)
            if len(self.missed) > self.stuck_at + 1 and len(self.passes) > (self.entry is None):
                self._give_up_last()
            return
        self.stuck_at = len(self.missed)
        first, second, ways, left = found
        self._take(first, ways, left)
        end = run.line.length
        self._work(replace(run, line=ops.substring(run.line, second, end) if second else run.line))

    def _begin(self, run: Run) -> None:
        """Begin the drive where all of the rig has room, what trails behind it too."""
        at = self._first_stand(run.line)
        if at is None:
            self.missed.append(run)
        else:
            self.trailing = np.full(len(self.rig.behind), pose_at(run.line, at)[2])
            self._work(replace(run, line=ops.substring(run.line, at, run.line.length)))
            if at >= _SHORT * self.rig.width_m:
                self.missed.append(replace(run, line=ops.substring(run.line, 0.0, at)))
        self.stuck_at = len(self.missed)

    def _first_stand(self, line: shapely.LineString) -> float | None:
        """How far along a run all of the rig first has room, in line."""
        least = _SHORT * self.rig.width_m
        places = np.arange(0.0, max(line.length - least, 0.0) + 1e-6, _BEGIN_STEP_M)
        stands = self.fence.stands(
            self.rig, np.array([self._axle(line, float(at)) for at in places])
        )
        return float(places[np.argmax(stands)]) if stands.any() else None

    def _give_up_last(self) -> None:
        """Leave out the last run, from whose end nothing can be reached."""
        last = self.passes.pop()
        self.missed.append(Run(last.kind, last.number, last.line, last.ring, last.block))
        self.stuck_at = len(self.missed)
        if not self.passes:
            assert self.entry is not None
            self.way_in, self.trailing = None, np.full(len(self.rig.behind), self.entry[2])
            return
        self.turns.pop()
        line = self.passes[-1].line
        self.trailing = np.full(len(self.rig.behind), pose_at(line, line.length)[2])

    def drive_missed(self, most_dropped: float = math.inf, *, later: bool = False) -> None:
        """Try again the runs that could not be reached, either way; count those that cannot be.

        Or leave them for ``later``. Once there are more of them than anyone wants to know, the rest
        is left.
        """
        tried, self.missed = self.missed, []
        for run in tried:
            if self.dropped > most_dropped:
                return
            if not any(
                self._reach_some(replace(run, line=x)) for x in (run.line, run.line.reverse())
            ):
                if later:
                    self.missed.append(run)
                else:
                    self.dropped += 1
        self.stuck_at = len(self.missed)

    def _reach_some(self, run: Run) -> bool:
        """Drive what can be reached of a run that may be driven the other way than it was laid."""
        found = len(self.passes)
        for stretch in self.fitting(run.line):
            self.stuck_at, before = len(self.missed), len(self.passes)
            self._reach(replace(run, line=stretch))
            if len(self.passes) == before:
                self.missed.pop()
        return len(self.passes) > found

    def _take(self, cut: float, ways: Sequence[Way], trailing: FloatArray) -> None:
        """Cut the last run, and turn."""
        self.trailing = trailing
        if not self.passes:
            self.way_in = self._way_of_tool(ways)
            return
        last = self.passes[-1]
        if cut:
            line = ops.substring(last.line, 0.0, last.line.length - cut)
            self.passes[-1] = replace(last, line=line)
        self.turns.append([*ways])

    def _way_of_tool(self, ways: Sequence[Way]) -> shapely.LineString:
        """The middle of the openers along a way of the axle."""
        return shapely.LineString(self.rig.tool_xy(joined(*(way.finer(_FINE_M) for way in ways))))

    def _work(self, run: Run) -> None:
        self.trailing_before = self.trailing
        self.passes.append(PlannedPass(run.kind, run.number, run.line, run.ring, run.block))
        if self.rig.behind:
            self.trailing = self.rig.places(self._along(run.line), self.trailing)[1]

    def _axle(self, line: shapely.LineString, at: float) -> FloatArray:
        """Place and heading of the tool's axle along a run."""
        pose = pose_at(line, at)
        if self.rig.tool_behind_m > 0 and shapely.get_num_points(line) > 2:
            pose[2] = np.interp(at, *self._headings(line))
        return self._axle_of(pose)

    def _headings(self, line: shapely.LineString) -> tuple[FloatArray, FloatArray]:
        """How the tool heads along a run, and how far along that is."""
        if line not in self.headings:
            way = self._along(line)
            self.headings[line] = self._reached(line, way), way.heading_rad
        return self.headings[line]

    def _axle_of(self, pose: FloatArray) -> FloatArray:
        """Where the tool's axle is when its openers are at a pose."""
        ahead = np.array([math.cos(pose[2]), math.sin(pose[2]), 0.0])
        return np.asarray(pose + self.rig.tool_behind_m * ahead)

    def _cut_turn(
        self, run: Run, most_m2: float = math.inf
    ) -> tuple[float, float, list[Way], FloatArray] | None:
        """The turn for which the least of both runs is given up: less ground than so much."""
        least = _SHORT * self.rig.width_m
        tail = 0.0
        if self.passes:
            last = self.passes[-1].line
            tail = straight_tail_m(last, _STRAIGHT_RADII * self.rig.radius_m)
            tail = max(min(tail, last.length - least), 0.0)
        most = tail, max(run.line.length - least, 0.0)
        too_far: list[tuple[float, float]] = []  # cuts that leave too much

        @cache
        def tried(first: float, second: float) -> tuple[list[Way], FloatArray] | None:
            if first > most[0] or second > most[1]:
                return None
            if any(first >= a and second >= b for a, b in too_far):
                return None
            if most_m2 < math.inf and self._bare(run, first, second) >= most_m2:
                too_far.append((first, second))
                return None
            end, goes = self._axle(run.line, second), self._begin_of(run.line, second)
            trailing = self._trailing_at(first)
            return self._way(self._from(first), end, self._came(first), goes, trailing)

        ahead = partial(self._look_at_cuts, run, most) if most_m2 == math.inf else None
        found = self._least_cut(most, tried, ahead)
        if found is not None or most_m2 < math.inf:
            return found
        for way in (self._around, self._led_round):
            for first, second in ((0.0, 0.0), (_CUTS_M[-1] / 2, _CUTS_M[-1] / 2)):
                first, second = min(first, most[0]), min(second, most[1])
                end = self._axle(run.line, second)
                around = way(self._from(first), end, self._came(first))
                if around is not None:
                    return first, second, *around
        return self._to_another_part(run, most)

    def _to_another_part(
        self, run: Run, most: tuple[float, float]
    ) -> tuple[float, float, list[Way], FloatArray] | None:
        """A turn over ground that is not to be driven on, where there is no other way."""
        if self.loose is None or self._same_part(self._from(0.0), self._axle(run.line, 0.0)):
            return None
        for first, second in (pair for k in range(len(_CUTS_M)) for pair in _cuts(k, most)):
            found = self._way(
                self._from(first),
                self._axle(run.line, second),
                self._came(first),
                trailing=self._trailing_at(first),
                fence=self.loose,
            )
            if found is not None:
                self.crossings += 1
                return first, second, *found
        return None

    def _same_part(self, start: FloatArray, end: FloatArray) -> bool:
        """Whether two poses of the axle are on the same connected ground."""
        parts = shapely.get_parts(self.fence.ground)
        away = [shapely.distance(parts, shapely.Point(pose[:2])) for pose in (start, end)]
        return bool(np.argmin(away[0]) == np.argmin(away[1]))

    def _least_cut(
        self,
        most: tuple[float, float],
        tried: Callable[[float, float], tuple[list[Way], FloatArray] | None],
        look_ahead: Callable[[], None] | None,
    ) -> tuple[float, float, list[Way], FloatArray] | None:
        """The first cut with which a turn has room, tried outward from where one had before."""

        def both(k: int) -> tuple[float, float, list[Way], FloatArray] | None:
            for a, b in _cuts(k, most):
                if found := tried(a, b):
                    return a, b, *found
            return None

        at = self.cut_at
        found = both(at)
        if found is None:
            if look_ahead:
                look_ahead()
            others = range(len(_CUTS_M))
            for at in [*others[self.cut_at + 1 :], *others[: self.cut_at][::-1]]:
                found = both(at)
                if found is not None:
                    break
        while found is not None and at and (sooner := both(at - 1)):
            at, found = at - 1, sooner
        if found is None:
            return None
        self.cut_at = at
        first, second, ways, left = found
        # Give back what can be given back at each end by itself.
        for less in reversed([c for c in _CUTS_M if c < first]):
            again = tried(less, second)
            if again is None:
                break
            first, (ways, left) = less, again
        for less in reversed([c for c in _CUTS_M if c < second]):
            again = tried(first, less)
            if again is None:
                break
            second, (ways, left) = less, again
        return first, second, ways, left

    def _look_at_cuts(self, run: Run, most: tuple[float, float]) -> None:
        """Work out the ways between two runs for all cuts at once."""
        pairs = {pair for k in range(len(_CUTS_M)) for pair in _cuts(k, most)}
        starts = {cut: self._from(cut) for cut, _ in pairs}
        ends = {cut: self._axle(run.line, cut) for _, cut in pairs}
        self.candidates.ask(
            np.array([starts[cut] for cut, _ in pairs]),
            np.array([ends[cut] for _, cut in pairs]),
            self.fence,
            self.rig.bend,
        )

    def _way(
        self,
        start: FloatArray,
        end: FloatArray,
        came: Way,
        goes: Way | None = None,
        trailing: FloatArray | None = None,
        bend: Bend | None = None,
        fence: Fence | None = None,
    ) -> tuple[list[Way], FloatArray] | None:
        """The shortest way on which all of the rig is inside; backing up only where it has to.

        ``came`` is the way to where it starts, ``goes`` the one on from its end, straight if None.
        """
        bend = self.rig.bend if bend is None else bend
        trailing = self.trailing if trailing is None else trailing
        fence = self.fence if fence is None else fence
        for one in self.candidates.between(start, end, fence, bend):
            way = drawn(bend, start, as_turns(one), self.rig.step_m).led_to(end)
            bodies, left = self.rig.places(way, trailing, came, goes)
            if fence.holds(bodies):
                return [way], left
        return None

    def _led_round(
        self, start: FloatArray, end: FloatArray, came: Way
    ) -> tuple[list[Way], FloatArray] | None:
        """A way round what must not be driven over, from corner to corner of it.

        Farther out where the rig cuts in behind the tractor. At each corner it is headed half way;
        or before it as it goes on from there (into a neck), or after it as it came (out of one).
        """
        if not (self._stands(start) and self._stands(end)):
            return None
        for clear_m in (0.0, self.rig.radius_m / 2, self.rig.radius_m):
            taut = self.detours.taut(start, end, clear_m)
            if taut is None or not len(taut):
                continue
            corners = _merged(taut, self.rig.radius_m)
            if len(corners) > _MOST_CORNERS:
                continue
            found = self._on_by(corners, came, end, self.trailing)
            if found is not None:
                return found
        return None

    def _on_by(
        self, taut: list[FloatArray], came: Way, end: FloatArray, trailing: FloatArray
    ) -> tuple[list[Way], FloatArray] | None:
        """On by corners of a taut string, one after another."""
        if not taut:
            return self._way(came.end, end, came, trailing=trailing)
        x, y, before, after = taut[0]
        half = before + np.angle(np.exp(1j * (after - before))) / 2
        far = self.rig.radius_m
        for heading, ahead in ((half, 0.0), (after, -far), (before, far)):
            pose = np.array([*(np.array([x, y]) + ahead * toward(heading)), heading])
            if not self._stands(pose):
                continue
            found = self._way(came.end, pose, came, trailing=trailing)
            if found is None:
                continue
            (way,), left = found
            on = self._on_by(taut[1:], self._then(came, way), end, left)
            if on is not None:
                return [way, *on[0]], on[1]
        return None

    def _then(self, came: Way, way: Way) -> Way:
        """The way so far, as of `_came`, when one more has been driven."""
        return joined(came, way).last(self.rig.settles_m)

    def _around(
        self, start: FloatArray, end: FloatArray, came: Way
    ) -> tuple[list[Way], FloatArray] | None:
        """A way by the widest place there is."""
        arrivals = self._arrivals(end) if self._stands(start) else ()
        if arrivals:
            starts = np.tile(start, (len(arrivals), 1))
            self.candidates.ask(starts, np.array(arrivals), self.fence, self.rig.bend)
        best: tuple[float, list[Way], FloatArray] | None = None
        for middle in arrivals:
            key = (*np.round(start, 3).tolist(), *np.round(middle, 3).tolist())
            if key not in self.departures:
                self.departures[key] = self._way(start, middle, came)
            to = self.departures[key]
            if to is None or (best is not None and to[0][-1].length_m >= best[0]):
                continue
            (first,) = to[0]
            on = self._way(middle, end, self._then(came, first), trailing=to[1])
            if on is None:
                continue
            ways = [first, *on[0]]
            length = sum(way.length_m for way in ways)
            if best is None or length < best[0]:
                best = (length, ways, on[1])
        return None if best is None else best[1:]

    def _arrivals(self, end: FloatArray) -> tuple[FloatArray, ...]:
        """Poses in wide places from which a rig in line can go on to a pose."""
        key = tuple(np.round(end, 3).tolist())
        if key not in self.arrivals:
            found = []
            if self._stands(end):
                angles = np.arange(_HEADINGS) * 2 * np.pi / _HEADINGS
                middles = np.array([[*xy, a] for xy in self.fence.wide_places for a in angles])
                ends = np.tile(end, (len(middles), 1))
                self.candidates.ask(middles, ends, self.fence, self.rig.bend)
                for middle in middles:
                    in_line = np.full(len(self.rig.behind), middle[2])
                    if self._way(middle, end, standing(middle), trailing=in_line) is not None:
                        found.append(middle)
            self.arrivals[key] = tuple(found)
        return self.arrivals[key]

    def _stands(self, pose: FloatArray) -> bool:
        """Whether all of the rig is inside where it stands in line."""
        return bool(self.fence.stands(self.rig, pose[None])[0])

    def _corner(self, run: Run, *, closing: bool = False) -> bool:
        """Go on round a corner with the tool down, where that leaves less than lifting it.

        ``closing`` a ring, there is no more of the next run to do than round the corner.
        """
        worked = self._worked(run, closing)
        if worked is None:
            return False
        width, last = self.rig.width_m, self.passes[-1]
        before, arc, way, second, left = worked
        tail = ops.substring(last.line, before.length, last.line.length)
        head = ops.substring(run.line, 0.0, max(second, 0.0))
        rest = ops.substring(run.line, max(second, 0.0), run.line.length)
        bare_head = _unless(head, width, arc, before)
        backed = None
        if self.rig.backs_up and not closing and bare_head > _BARE * width**2:
            backed = self._backed(way, max(second, 0.0), left)
        # The next run may do some of what the last one does not.
        bare = _unless(tail, width, arc, run.line)
        bare += 0.0 if backed else bare_head
        most = bare - _BARE * width**2 / 2
        if bare > _BARE * width**2 and not closing and self._cut_turn(run, most) is not None:
            return False
        line = shapely.LineString(
            np.concatenate([np.asarray(before.coords)[:-1], np.asarray(arc.coords)])
        )
        self.passes[-1] = replace(last, line=line)
        self.trailing = left
        if backed:
            self.turns.append([backed])
            self._work(run)
        elif rest.length > 0 and not closing:
            on = np.asarray(rest.coords)[1 if second >= 0 else 0 :]
            self.passes[-1] = replace(last, line=shapely.LineString([*line.coords, *on]))
            if self.rig.behind:
                self.trailing = self.rig.places(self._along(rest), self.trailing)[1]
        return True

    def _bare(self, run: Run, first: float, second: float) -> float:
        """Ground left where a run ends sooner and the next begins later."""
        width, last = self.rig.width_m, self.passes[-1].line
        until, from_ = last.length - first, second
        done = ops.substring(last, 0.0, until)
        after = ops.substring(run.line, from_, run.line.length)
        tail = ops.substring(last, until, last.length)
        head = ops.substring(run.line, 0.0, from_)
        return _unless(tail, width, after) + _unless(head, width, done)

    def _backed(self, way: Way, back_m: float, trailing: FloatArray) -> Way | None:
        """Straight back to where the next run begins."""
        backed = drawn(self.rig.bend, way.end, [(0.0, -back_m)], self.rig.step_m)
        return backed if self.fence.holds(self.rig.places(backed, trailing)[0]) else None

    def _worked(
        self, run: Run, closing: bool
    ) -> tuple[shapely.LineString, shapely.LineString, Way, float, FloatArray] | None:
        """The bend from the last run onto the next one, if all of the rig is inside.

        Returns what is left of the last run, the openers' way round, the axle's, how far along the
        next run it ends, and how the trailing units then head.
        """
        last, least = self.passes[-1].line, _SHORT * self.rig.width_m
        a, b = pose_at(last, last.length), pose_at(run.line, 0.0)
        bend = float(np.angle(np.exp(1j * (b[2] - a[2]))))
        if not _CORNER_RAD[0] < abs(bend) < _CORNER_RAD[1]:
            return None
        u, v = toward(a[2]), toward(b[2])
        gap = b[:2] - a[:2]
        on = (gap[0] * v[1] - gap[1] * v[0]) / (u[0] * v[1] - u[1] * v[0])
        behind, far = self.rig.tool_behind_m, _FAR_WIDTHS * self.rig.width_m
        if abs(on) > far:
            return None
        for gentle in self.rig.bends:
            into, out = gentle.tangents_m(bend)
            # How far before the end of the last run the bend begins, and along the next it ends.
            first = into + behind - float(on)
            second = float((a[:2] + on * u - b[:2]) @ v) + out - behind
            if last.length - first < least:
                continue
            if second > run.line.length - least and not closing:
                continue
            begins = pose_at(last, min(last.length - first, last.length))
            ends = pose_at(run.line, min(max(second, 0.0), run.line.length))
            if _askew(begins[2], a[2]) or _askew(ends[2], b[2]):
                continue
            way = drawn(
                gentle,
                self._axle_of(begins),
                [(0.0, max(-first, 0.0)), (bend, 0.0)],
                self.rig.step_m,
            )
            if 0 <= second <= run.line.length:
                way = way.led_to(self._axle_of(ends))
            goes = None if closing else self._begin_of(run.line, max(second, 0.0))
            came = self._came(max(first, 0.0))
            bodies, left = self.rig.places(way, self._trailing_at(first), came, goes)
            if self.fence.holds(bodies):
                before = ops.substring(last, 0.0, last.length - max(first, 0.0))
                arc = shapely.LineString(self.rig.tool_xy(way))
                if self._is_worked(arc):
                    return before, arc, way, second, left
        return None

    def _is_worked(self, line: shapely.LineString) -> bool:
        """Whether all that the tool sweeps along a line may be worked."""
        if self.workable is None:
            return True
        beside = overlaid(shapely.difference, swath(line, self.rig.width_m), self.workable)
        return bool(beside.area < _BARE * self.rig.width_m**2)


def other_way(ring: Sequence[Run]) -> list[Run]:
    """The same ring, driven the other way about."""
    return [replace(run, line=run.line.reverse()) for run in ring[::-1]]


def _merged(taut: FloatArray, near_m: float) -> list[FloatArray]:
    """Corners of a taut string, those near to one another as one."""
    merged = [taut[0]]
    for corner in taut[1:]:
        last = merged[-1]
        if np.hypot(*(corner[:2] - last[:2])) < near_m:
            merged[-1] = np.array([*(corner[:2] + last[:2]) / 2, last[2], corner[3]])
        else:
            merged.append(corner)
    return merged


def _cuts(k: int, most: tuple[float, float]) -> list[tuple[float, float]]:
    """By how much both runs may be shortened at one of the cuts, at most so much."""
    cut = _CUTS_M[k]
    pairs = [(cut, cut)] if cut < _FAR_CUT_M else [(cut, cut), (0.0, cut), (cut, 0.0)]
    return [*dict.fromkeys((min(a, most[0]), min(b, most[1])) for a, b in pairs)]


def _askew(one_rad: float, other_rad: float) -> bool:
    return abs(float(np.angle(np.exp(1j * (one_rad - other_rad))))) > _STRAIGHT_RAD


def _unless(line: shapely.LineString, width_m: float, *done: shapely.LineString) -> float:
    """Area of what the tool sweeps along a line and has not along others."""
    if line.length <= 0:
        return 0.0
    ground = swath(line, width_m)
    for other in done:
        ground = overlaid(shapely.difference, ground, swath(other, width_m))
    return float(ground.area)
