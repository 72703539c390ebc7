"""How far every edge of the swept ground may lie off, drawn many times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import chdtr, ndtr, ndtri

from evenacre.coverage.measure.settings import HAND_S
from evenacre.coverage.steps import Steps
from evenacre.coverage.uncertainty.drift import (
    OVER_A_STRETCH,
    WHOLE_S,
    Drift,
    draw_drifts,
    may_be_slow,
)
from evenacre.coverage.uncertainty.edges import BOUNDARY, SEAM, Across, Edges
from evenacre.coverage.uncertainty.normal_draws import DRAWS, half_normal, normal, uniform
from evenacre.coverage.uncertainty.position_error import PositionError
from evenacre.model import BoolArray, Doubt, FloatArray, IntArray, SettingsError

_SEED = 20
# Figures of the drill are drawn this often where the log shows which of them may be.
_TRIED = 40_000
# Error within a pass is taken to hold over this length of travel (common practice, no source).
_CORRELATION_M = 30.0
# A drift with a memory is drawn for stretches of this share of it, as many as this at most.
_STRETCH, _MOST_UNITS = 0.1, 1500
# Shorter seams, or fewer, tell nothing of how passes are laid; more need not be asked.
_LEAST_SEAM_M, _LEAST_SEAMS, _MOST_SEAMS = 15.0, 4, 600
# Directions of seams of the same two passes are told apart by so much.
_SECTOR_RAD = np.pi / 4
# How much gaps between passes truly scatter, before a log is seen: as a careful driver's do, and
# ends of passes as a hand on the switch comes sooner or later; or twice as much or half (a standard
# deviation of the logarithm; common practice, no source).
_SCATTER_M = np.geomspace(0.02, 0.6, 25)
_END_SCATTER_M = np.geomspace(0.05, 3.0, 31)
_BY_HAND_M, _BY_SWITCH_S, _TIMES = 0.1, 0.2, np.log(2.0)
_SCATTERS_TRIED = 5
# How far off the middle gap may be meant. At the end of the field work ends rather short of a fence
# than beyond it (common practice, no source); how far into a headland it goes is a matter of taste.
_MIDDLE_M, _SHORT_M, _ANYWHERE_M = 0.5, 0.25, 5.0
# Gaps farther from the middle one than so many standard deviations were not meant to be like it.
_OUTLIER = 4.0
_NOT_MEANT_M2 = 1e4
# Gaps that scatter less than noise would make them by this chance do not have it: the receiver
# steered, or ends are logged as they were meant.
_EVEN_LEVEL = 0.01
# And gaps within a pass that scatter by less than this share of it.
_EVENER = 0.7
# From so many ends of passes on it is asked how they were meant to lie.
_LEAST_ENDS = 2
# Of what gaps differ by within a pass at least this share of variance is true.
_LEAST_SHARE = 0.02
_MAD = 1.4826  # standard deviations of a normal in a median absolute deviation


@dataclass(frozen=True)
class _Wander:
    """What a receiver wanders within a pass: the largest array of an audit, so only half is kept.

    Attributes
    ----------
    half_m : (2, blocks, n / 2) float
        Draws as the receiver has it, whose mirror images make up the other half.
    of_drift, of_block, of_draw : (n,), (blocks,) and (n,) float
        How much of it there is in each draw of a drift, in each block and in each draw.
    chosen : (k,) int
        The draws that are meant.
    """

    half_m: FloatArray
    of_drift: FloatArray
    of_block: FloatArray
    of_draw: FloatArray
    chosen: IntArray

    @classmethod
    def drawn(cls, rng: np.random.Generator, blocks: int, within_m: float) -> _Wander:
        """Draw it for some blocks."""
        half = half_normal(rng, 2 * blocks)
        half *= within_m
        every = np.ones(DRAWS), np.ones(blocks), np.ones(DRAWS)
        return cls(half.reshape(2, blocks, -1), *every, np.arange(DRAWS))

    def of_draws(self, chosen: IntArray) -> _Wander:
        """Some of the draws."""
        return replace(self, chosen=self.chosen[chosen])

    def at(self, axis: int, block: IntArray) -> FloatArray:
        """Error in some blocks along an axis, (blocks, k)."""
        half = self.half_m[axis, block]
        whole = np.concatenate([half, -half], axis=1) * self.of_drift
        whole *= self.of_block[block, None]
        whole *= self.of_draw
        every = len(self.chosen) == whole.shape[1]
        return whole if every else np.asarray(whole[:, self.chosen])


@dataclass(frozen=True)
class Shifts:
    """Moves of the edges, true less logged, in n draws.

    Attributes
    ----------
    edges : Edges
        The m samples.
    unit, block : (m,) int
        Drift and wander each sample shares with others.
    drift_m : (2, units, n) float
    wander : _Wander
        The receiver's error along ``axis_rad`` and square to it.
    left_m, behind_m, width_m, lag_s : (n,) float
        The drill's own figures, true less used.
    ends_m : (events, n) float
        How much farther out each switching of rows lies.
    wandered_m : (m,) float
        How far out edges truly lie by what the receiver made of their gaps within a pass.
    wanders : (n,) bool
        Draws in which it made any.
    heading_rad, speed_mps, time_s : (m,) float
    kind : (n,) int
        Which of several receivers each draw takes it for, where that is not told.
    on_lines, by_hand : _Seams
        As the log has them: between passes that the machine steered, and that a driver did.
    true_share : float
        Share of the variance of gaps within a pass that is not the receiver's.
    farthest_m : float
        Gaps farther from their pass's are where a driver went out of his way.
    steered : (units,) bool
        The machine held a line that its receiver told.
    evened : bool
        Every other draw, from the first on, has passes as even as they were meant.
    interval_s : float
        Time that a record stands for.
    """

    edges: Edges
    unit: IntArray
    block: IntArray
    drift_m: FloatArray
    wander: _Wander
    axis_rad: float
    left_m: FloatArray
    behind_m: FloatArray
    width_m: FloatArray
    lag_s: FloatArray
    ends_m: FloatArray
    wandered_m: FloatArray
    wanders: BoolArray
    heading_rad: FloatArray
    speed_mps: FloatArray
    time_s: FloatArray
    kind: IntArray
    on_lines: _Seams
    by_hand: _Seams
    true_share: float
    farthest_m: float
    steered: BoolArray
    evened: bool
    interval_s: float

    def of_draws(self, chosen: IntArray) -> Shifts:
        """Some of the draws."""
        if len(chosen) == len(self.kind) and (np.diff(chosen) == 1).all():
            return self  # all of them: the largest arrays of an audit are not copied
        names = (
            *("drift_m", "left_m", "behind_m", "width_m", "lag_s", "ends_m"),
            *("wanders", "kind"),
        )
        some = {name: getattr(self, name)[..., chosen] for name in names}
        return replace(self, wander=self.wander.of_draws(chosen), **some)

    def at_edges(
        self, edges: Edges, looked: IntArray, across: Across, steps: Steps, way_m: float
    ) -> Shifts:
        """The same errors where all ends of passes lie so much farther along the same drive.

        The receiver was off there as it was at the nearest moment that has an edge in the log.
        Where ends lie about those places is drawn anew.

        Parameters
        ----------
        looked : (k,) int
            The samples of ``edges`` that ``across`` is of.
        steps : Steps
            With the ends there.
        """
        order = np.argsort(self.time_s, kind="stable")
        known = self.time_s[order]
        heading, speed, time = _motion(edges, steps)
        after = np.clip(np.searchsorted(known, time), 1, len(known) - 1)
        nearer = time - known[after - 1] < known[after] - time
        like = order[after - nearer]
        there = replace(
            self,
            edges=edges,
            unit=self.unit[like],
            block=self.block[like],
            behind_m=self.behind_m + way_m,
            heading_rad=heading,
            speed_mps=speed,
            time_s=time,
        )
        there = there.with_wandered(looked, across)
        rng = np.random.default_rng([_SEED, 2])
        return replace(there, ends_m=_ends(rng, there, looked, across))

    def gaps_m(self, looked: IntArray, across: Across) -> FloatArray:
        """Gaps of the log, m: (k, 2).

        Of every other draw from the first on, and of the rest. They differ where passes lie so even
        that either they or the receiver may have made what scatter there is.
        """
        gap = even = across.gap_m
        if self.evened:
            of = self.on_lines.of_key(_across_seams(self, looked, across)[1])
            even = _evened(gap, self.on_lines, of, float(self.left_m.mean()))
        return np.column_stack([even, gap])

    def with_wandered(self, looked: IntArray, across: Across) -> Shifts:
        """The same, with what of the gaps of some samples the receiver made taken off all sides.

        Sides that were not looked at have that of the one before them in their pass.
        """
        apart = self.by_hand.apart_m(self, looked, across)
        # At the end of the field the one edge has all, else either has half.
        out = (1 - self.true_share) * np.where(across.kind == SEAM, apart / 2, apart)
        out[~(np.abs(apart) <= self.farthest_m)] = 0.0
        side, order = self.edges.side, np.argsort(looked, kind="stable")
        all_sides = np.flatnonzero(side)
        like = order[np.maximum(np.searchsorted(looked[order], all_sides, side="right") - 1, 0)]
        before = looked[like]
        same = (side[before] == side[all_sides]) & (self.unit[before] == self.unit[all_sides])
        wandered = np.zeros(len(side))
        wandered[all_sides] = np.where(same, out[like], 0.0)
        return replace(self, wandered_m=wandered)

    def receiver_m(self, chosen: IntArray) -> FloatArray:
        """Outward moves of some of the samples by the receiver's error, (k, n)."""
        e, unit, block = self.edges.at(chosen), self.unit[chosen], self.block[chosen]
        along, aside = (part[:, None] for part in _parts(e, self.axis_rad))
        moved = along * (self.drift_m[0, unit] + self.wander.at(0, block))
        moved += aside * (self.drift_m[1, unit] + self.wander.at(1, block))
        return np.asarray(-moved)

    def outward_m(self, chosen: IntArray) -> FloatArray:
        """Outward moves of some of the samples, (k, n)."""
        e, h = self.edges.at(chosen), self.heading_rad[chosen]
        ahead, left = _parts(e, h)
        moved = self.receiver_m(chosen)
        moved -= ahead[:, None] * self.behind_m + left[:, None] * self.left_m
        moved += np.abs(e.side)[:, None] / 2 * self.width_m
        moved += self.wandered_m[chosen, None] * self.wanders
        end = np.flatnonzero(e.event >= 0)
        travel = (ahead * self.speed_mps[chosen])[end]
        moved[end] += travel[:, None] * self.lag_s + self.ends_m[e.event[end]]
        return moved


def draw_shifts(
    edges: Edges,
    looked: IntArray,
    across: Across,
    steps: Steps,
    number: IntArray,
    receiver: PositionError,
    drill: SettingsError,
    behind_m: FloatArray,
    lag_s: FloatArray,
    jitter_m: float,
) -> Shifts:
    """Draw how far all samples may lie off.

    A driver who lays passes by eye leaves gaps that scatter, and the log's scatter more by what
    the receiver adds: true gaps are drawn from all that agree with the log and with a scatter
    found from the gaps themselves (empirical Bayes; conditional draws by Matheron's rule,
    Journel and Huijbregts 1978). Where the machine held a line that the receiver told, the log
    has the gaps that were planned, and the receiver's error is all in the ground.

    Parameters
    ----------
    looked : (k,) int
        The samples that ``across`` is of.
    number : (n - 1,) int
        Pass of each step.
    behind_m, lag_s : (n,) float
        Draws of `draw_along`.
    jitter_m : float
        Left of the receiver's jitter in the positions.

    Returns
    -------
    Shifts
    """
    rng = np.random.default_rng(_SEED)
    heading, speed, time = _motion(edges, steps)
    unit, owner, when = _units(edges, steps, number, receiver)
    sigma = receiver.pass_m[owner]
    block = _blocks(edges, number)
    drifts = draw_drifts(rng, sigma, when, owner, receiver.memory_s)
    within = float(np.hypot(receiver.within_m, jitter_m))
    if receiver.memory_s is not None:
        within = float(np.hypot(within, drifts[0].left_m))
    wander = _Wander.drawn(rng, block.max(initial=0) + 1, within)
    left, width = _doubt(rng, drill.left_m), _doubt(rng, drill.width_m)
    shifts = Shifts(
        edges=edges,
        unit=unit,
        block=block,
        drift_m=drifts[0].drawn_m,
        wander=wander,
        axis_rad=float(heading[0]),
        left_m=left,
        behind_m=behind_m,
        width_m=width,
        lag_s=lag_s,
        ends_m=np.zeros((1, len(left))),
        wandered_m=np.zeros(len(heading)),
        wanders=np.ones(len(left), dtype=bool),
        heading_rad=heading,
        speed_mps=speed,
        time_s=time,
        kind=np.zeros(len(left), dtype=np.int64),
        on_lines=_NO_SEAMS,
        by_hand=_NO_SEAMS,
        true_share=1.0,
        farthest_m=np.inf,
        steered=receiver.steered[owner],
        evened=False,
        interval_s=receiver.interval_s,
    )
    seams = _seams(shifts, looked, across)
    laid = _as_laid(rng, shifts, seams, drifts, drill.left_m)
    by_hand = seams.driven(~laid.steered)
    drift, left = laid.drift_m, laid.left_m
    if len(drifts) > 1 and within:
        # A slow drift is what wanders within a pass.
        wander.of_drift[laid.slow] *= min(1.0, np.hypot(drifts[1].left_m, jitter_m) / within)
    true, farthest = 1.0, np.inf
    if not laid.steered.all():
        apart = by_hand.apart_m(shifts, looked, across)
        true, farthest = _true_share(apart[np.isfinite(apart)], within)
        wander.of_block[block[~laid.steered[unit]]] = np.sqrt(true)
        wander.of_block[block[looked[np.isfinite(apart) & (np.abs(apart) > farthest)]]] = 1.0
    kind, wanders = laid.slow.astype(int), shifts.wanders
    if receiver.assumed or receiver.within_assumed:
        # Half of the draws have no error but the jitter, or none but the drift: intervals reach
        # from there to the usual, of each kind of drift.
        usual = np.arange(len(left)) // len(drifts) % 2 > 0
        kind = kind + 2 * usual
        if receiver.assumed:
            drift[..., ~usual] = 0.0
        if receiver.assumed and laid.steered.any():
            wander.of_draw[~usual] = 0.0
        elif within:
            wander.of_draw[~usual] *= jitter_m / within
            wanders = usual
    shifts = replace(
        shifts,
        drift_m=drift,
        left_m=left,
        kind=kind,
        wanders=wanders,
        on_lines=seams.driven(laid.steered),
        by_hand=by_hand,
        true_share=true,
        farthest_m=farthest,
        evened=receiver.assumed and bool(laid.steered.any()),
    )
    shifts = shifts.with_wandered(looked, across)
    ends = _ends(rng, shifts, looked, across)
    return replace(shifts, ends_m=ends)


def _motion(edges: Edges, steps: Steps) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heading, speed and time that each sample was driven past."""
    moved, took = steps.distance_m[edges.step], steps.duration_s[edges.step]
    speed = np.divide(moved, took, out=np.zeros(len(moved)), where=took > 0)
    return steps.tool.heading_rad[edges.step], speed, steps.tool.time_s[edges.step]


def _evened(gap_m: FloatArray, seams: _Seams, of: IntArray, left_m: float) -> FloatArray:
    """Gaps of samples with all that differ little made one: passes evener than the receiver.

    But for what the antenna's offset opens and closes in turn.
    """
    between = seams.second >= 0
    if between.sum() < _LEAST_SEAMS:
        return gap_m
    opened = seams.left * left_m
    middle = np.median((seams.gap_m - opened)[between])
    off = seams.gap_m - opened - middle
    meant = between & (np.abs(off) <= _OUTLIER * _MAD * np.median(np.abs(off[between])))
    mine = (of >= 0) & meant[of]
    return np.where(mine, middle + opened[of], gap_m)


def _parts(e: Edges, angle_rad: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """The outward normals along a direction, and to its left."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    return e.out_x * cos + e.out_y * sin, e.out_y * cos - e.out_x * sin


def _doubt(rng: np.random.Generator, doubt: Doubt) -> FloatArray:
    spread = doubt.low + (doubt.high - doubt.low) * uniform(rng, 1)[0]
    return np.asarray(doubt.sigma * normal(rng, 1)[0] + spread)


def draw_along(drill: SettingsError) -> tuple[FloatArray, FloatArray]:
    """Draw tool behind and delay as they agree with what pass ends show of them, where these do.

    Of many drawn freely, as many are kept as agree, each by how well it does (importance
    resampling; Rubin 1988).

    Returns
    -------
    (n,) float, (n,) float
        True less used, m and s.
    """
    rng = np.random.default_rng([_SEED, 1])
    behind, lag = _doubt(rng, drill.behind_m), _doubt(rng, drill.lag_s)
    shown = drill.together
    if shown is None or not np.ptp(behind - lag * shown.speed_mps) > 0:
        return behind, lag
    behind, lag = (
        doubt.sigma * rng.normal(size=_TRIED) + rng.uniform(doubt.low, doubt.high, _TRIED)
        for doubt in (drill.behind_m, drill.lag_s)
    )
    off = (behind - lag * shown.speed_mps - shown.behind_m) / shown.sigma_m
    off = off**2
    chance = np.cumsum(np.exp((off.min() - off) / 2))
    at = (np.arange(DRAWS) + 0.5) / DRAWS * chance[-1]
    kept = rng.permutation(np.searchsorted(chance, at))
    return behind[kept], lag[kept]


def _units(
    edges: Edges, steps: Steps, number: IntArray, receiver: PositionError
) -> tuple[IntArray, IntArray, FloatArray]:
    """Stretches that share one drift: of each sample; of each pass and times within, (units, 3)."""
    own, time = number[edges.step], steps.tool.time_s[edges.step]
    stretch = np.zeros(len(own), dtype=np.int64)
    if receiver.memory_s is not None:
        worked = float(steps.duration_s[number > 0].sum())
        long_s = max(_STRETCH * receiver.memory_s, worked / _MOST_UNITS)
        stretch = np.floor((time - time.min()) / long_s).astype(np.int64)
    elif may_be_slow(receiver.pass_m[own], None):
        began, ended = np.full(own.max() + 1, np.inf), np.full(own.max() + 1, -np.inf)
        np.minimum.at(began, own, time)
        np.maximum.at(ended, own, time)
        # In equal parts.
        parts = np.maximum(np.ceil((ended - began) / WHOLE_S), 1.0)[own]
        share = (time - began[own]) / np.maximum(ended - began, 1e-9)[own]
        stretch = np.minimum(np.floor(share * parts), parts - 1).astype(np.int64)
    most = int(stretch.max(initial=0)) + 1
    found, unit = np.unique(own * most + stretch, return_inverse=True)
    first, last = np.full(len(found), np.inf), np.full(len(found), -np.inf)
    np.minimum.at(first, unit, time - time.min())
    np.maximum.at(last, unit, time - time.min())
    return unit, found // most, first[:, None] + np.outer(last - first, OVER_A_STRETCH)


def _blocks(edges: Edges, number: IntArray) -> IntArray:
    """Stretches of a pass that share one wander."""
    stretch = np.floor(edges.travelled_m / _CORRELATION_M).astype(np.int64)
    most = int(stretch.max(initial=0)) + 1
    return np.unique(number[edges.step] * most + stretch, return_inverse=True)[1]


@dataclass(frozen=True)
class _Laid:
    """Drift, and the antenna's offset, that agree with the gaps of the log.

    ``steered`` are units where the receiver's error is all in the ground, or as if it were;
    ``slow`` draws have the second kind of drift.
    """

    drift_m: FloatArray
    left_m: FloatArray
    steered: BoolArray
    slow: BoolArray


@dataclass(frozen=True)
class _Seams:
    """Seams between two units, or a unit and the end of the field: s of them, by their keys."""

    key: IntArray

    first: IntArray
    second: IntArray  # -1: the end of the field
    out_x: FloatArray  # mean normal of the first
    out_y: FloatArray
    left: FloatArray  # by how much a metre of the antenna's offset opens it in the log
    gap_m: FloatArray

    def of_key(self, key: IntArray) -> IntArray:
        """Which seam has each key; -1 where none has."""
        at = np.minimum(np.searchsorted(self.key, key), max(len(self.key) - 1, 0))
        return np.where(np.isin(key, self.key), at, -1)

    def driven(self, alike: BoolArray) -> _Seams:
        """Those of units that are such on both sides."""
        kept = alike[self.first] & (alike[self.second] | (self.second < 0))
        return _Seams(*(getattr(self, name)[kept] for name in self.__dataclass_fields__))

    def apart_m(self, shifts: Shifts, looked: IntArray, across: Across) -> FloatArray:
        """Gaps of samples less those of their seams; NaN where they are of none."""
        of = self.of_key(_across_seams(shifts, looked, across)[1])
        return np.where(of >= 0, across.gap_m - np.append(self.gap_m, 0.0)[of], np.nan)


_NO_SEAMS = _Seams(*np.zeros((3, 0), dtype=np.int64), *np.zeros((4, 0)))


def _across_seams(shifts: Shifts, looked: IntArray, across: Across) -> tuple[FloatArray, IntArray]:
    """Normals of samples, along that of the first of the two units, and keys of their seams.

    The end of the field comes after all units; where there is no seam the key is -1.
    """
    e, units = shifts.edges.at(looked), shifts.drift_m.shape[1]
    j = np.maximum(across.partner, 0)
    at_end = across.kind == BOUNDARY
    mine, other = shifts.unit[looked], np.where(at_end, units, shifts.unit[j])
    use = (across.kind == SEAM) & (shifts.edges.side[j] != 0) & (mine != other)
    use = (use | at_end) & (across.others == 0) & (e.side != 0)
    normal = np.where(mine > other, -1.0, 1.0) * np.stack([e.out_x, e.out_y])
    sector = np.rint((np.arctan2(normal[1], normal[0]) - shifts.axis_rad) / _SECTOR_RAD)
    key = np.minimum(mine, other) * (units + 1) + np.maximum(mine, other)
    return normal, np.where(use, key * 8 + sector.astype(int) % 8, -1)


def _seams(shifts: Shifts, looked: IntArray, across: Across) -> _Seams:
    e, j = shifts.edges.at(looked), np.maximum(across.partner, 0)
    at_end = across.kind == BOUNDARY
    (x, y), key = _across_seams(shifts, looked, across)
    use, size = key >= 0, shifts.drift_m.shape[1] + 1
    found, of = np.unique(key[use], return_inverse=True)
    first, second = np.divmod(found // 8, size)
    weight = e.length_m[use]
    length = np.bincount(of, weight, minlength=len(found))

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(of, weight * values[use], minlength=len(found)) / length

    h, after = shifts.heading_rad[looked], shifts.heading_rad[j]
    # The left of both, along the first's normal: what the second's has more.
    sin, cos = (np.where(at_end, 0.0, way(after)) for way in (np.sin, np.cos))
    left = e.out_x * (np.sin(h) - sin) + e.out_y * (cos - np.cos(h))
    out_x, out_y, opened, gap = (mean(v) for v in (x, y, left, across.gap_m))
    # A seam is looked at from both sides, the end of the field from one.
    length = np.where(second == size - 1, length, length / 2)
    long = np.flatnonzero(length >= _LEAST_SEAM_M)
    long = np.sort(long[np.argsort(-length[long], kind="stable")][:_MOST_SEAMS])
    first, second = first[long], np.where(second == size - 1, -1, second)[long]
    return _Seams(found[long], first, second, out_x[long], out_y[long], opened[long], gap[long])


def _as_laid(
    rng: np.random.Generator,
    shifts: Shifts,
    seams: _Seams,
    drifts: Sequence[Drift],
    doubt: Doubt,
) -> _Laid:
    """Draw drift and lateral offset that agree with the gaps of the log.

    Of several kinds of drift each has draws as the gaps agree with it, alike many where they do not
    tell. A pass that the machine steered beside one that it did not was not laid by it.
    """
    drift, left = drifts[0].drawn_m.copy(), shifts.left_m.copy()
    for k, one in enumerate(drifts):
        drift[:, :, k :: len(drifts)] = one.drawn_m[:, :, k :: len(drifts)]
    slow = np.arange(len(left)) % len(drifts) == 1
    laid = _Laid(drift, left, shifts.steered, slow)
    left_var = doubt.sigma**2 + (doubt.high - doubt.low) ** 2 / 12
    by_hand = ~shifts.steered
    if shifts.steered.any():
        on_lines = seams.driven(shifts.steered)
        _agree(rng, shifts, on_lines, drifts, laid, left_var, steered=True)
        left_var = float(left.var())
    if by_hand.any() and _agree(
        rng, shifts, seams.driven(by_hand), drifts, laid, left_var, steered=False
    ):
        return laid
    return replace(laid, steered=np.ones_like(by_hand))


def _agree(
    rng: np.random.Generator,
    shifts: Shifts,
    seams: _Seams,
    drifts: Sequence[Drift],
    laid: _Laid,
    left_var: float,
    *,
    steered: bool,
) -> bool:
    """Move draws of drift and lateral offset to what agrees with gaps that were laid alike.

    Gaps less those truly left are differences of drifts along the normal, and what the offset
    opens and closes in turn: linear, so draws made freely are moved by what they miss the log's
    gaps by, in proportion to covariances. Where the machine held a line, gaps of the log are as
    planned, even, but for the offset.

    Returns
    -------
    bool
        Whether a hand laid them.
    """
    drift, left, slow = laid.drift_m, laid.left_m, laid.slow
    between = seams.second >= 0
    if max(between.sum(), (~between).sum()) < _LEAST_SEAMS:
        return False
    cos, sin = np.cos(shifts.axis_rad), np.sin(shifts.axis_rad)
    out = np.stack([seams.out_x * cos + seams.out_y * sin, seams.out_y * cos - seams.out_x * sin])

    def differences(of_units: FloatArray) -> FloatArray:
        """Of the second unit less the first, along the normal; the field's end has none."""
        second = np.where(between[:, None], of_units[:, np.maximum(seams.second, 0)], 0.0)
        return np.asarray(np.einsum("ks,kst->st", out, second - of_units[:, seams.first]))

    # Covariance of the drift of all units with what opens the seams, (2, units, seams) each.
    with_drift = [
        (d.covariance(np.maximum(seams.second, 0)) * between - d.covariance(seams.first))[None]
        * out[:, None]
        for d in drifts
    ]
    of_drift = [differences(one) for one in with_drift]
    of_left = left_var * np.outer(seams.left, seams.left)
    own = np.diag(of_drift[0] + of_left)
    if not own.max() > 0:
        return False
    # Where few passes lie side by side, as in one round, those along the fence tell.
    many = between if between.sum() >= _LEAST_SEAMS else ~between
    off = seams.gap_m.copy()
    for side in (between, ~between):
        if side.any():
            off[side] -= np.median(off[side])
    spread = max(_MAD * np.median(np.abs(off[many])), np.sqrt(np.median(own)))
    meant = np.abs(off) <= _OUTLIER * spread
    told = np.flatnonzero(meant & many)
    if len(told) < _LEAST_SEAMS:
        return False

    def gaps(noise: FloatArray) -> _Gaps:
        return _Gaps.of(seams.gap_m[told], noise[np.ix_(told, told)])

    kinds = [gaps(one + of_left) for one in of_drift]
    steered = steered or all(one.too_even() for one in kinds)
    if steered:
        if not left_var > 0:
            return False
        kinds, of_drift = [gaps(of_left)], [np.zeros_like(of_left)]
    # What is meant between passes is one, and along the end of the field another.
    of_kind = np.stack([between, ~between]).astype(float)
    alike = _MIDDLE_M**2 * of_kind.T @ of_kind
    common, scattered = _MIDDLE_M * of_kind.T @ normal(rng, 2), normal(rng, len(own))
    by_hand: FloatArray | float = (
        0.0 if steered else (np.log(_SCATTER_M / _BY_HAND_M) / _TIMES) ** 2
    )
    tried = _scatters(kinds, _SCATTER_M, by_hand)
    for k, (which, scatter) in enumerate(tried):
        draws = slice(k, None, len(tried))
        if not steered:
            slow[draws] = which == 1
            drift[:, :, draws] = drifts[which].drawn_m[:, :, draws]
        truly = np.where(meant, scatter**2, _NOT_MEANT_M2)
        drawn = np.outer(seams.left, left[draws]) + common[:, draws]
        drawn += np.sqrt(truly)[:, None] * scattered[:, draws]
        if not steered:
            drawn += differences(drift[:, :, draws])
        noise = of_drift[which] + of_left + np.diag(truly) + alike
        rest = cho_solve(cho_factor(noise), off[:, None] - drawn)
        if not steered:
            drift[:, :, draws] += with_drift[which] @ rest
        left[draws] += left_var * (seams.left @ rest)
    return not steered


def _scatters(
    kinds: Sequence[_Gaps], tried_m: FloatArray, before: FloatArray | float = 0.0
) -> list[tuple[int, float]]:
    """How much true gaps may scatter, and which kind of noise they have.

    In equal parts of the chance that the gaps leave, five for each kind; ``before`` is -2 log of
    that of each scatter before they are seen.
    """
    fit = np.stack([one.fit(tried_m)[1] + before for one in kinds])
    chance = np.cumsum(np.exp(-(fit - fit.min()) / 2))
    count = _SCATTERS_TRIED * len(kinds)
    parts = (np.arange(count) + 0.5) / count
    found = np.searchsorted(chance / chance[-1], parts)
    return [(int(k // len(tried_m)), float(tried_m[k % len(tried_m)])) for k in found]


@dataclass(frozen=True)
class _Gaps:
    """Gaps meant alike, on axes along which their noise is not correlated: (s,) each."""

    gap_m: FloatArray
    one: FloatArray  # what a metre added to all of them is there
    noise_m2: FloatArray

    @classmethod
    def of(cls, gap_m: FloatArray, noise_m2: FloatArray) -> _Gaps:
        """From gaps and the covariance of their noise, or its diagonal where they have none."""
        if noise_m2.ndim == 1:
            return cls(gap_m, np.ones(len(gap_m)), noise_m2)
        variance, axes = np.linalg.eigh(noise_m2)
        return cls(axes.T @ gap_m, axes.sum(axis=0), np.maximum(variance, 0.0))

    def fit(self, scatter_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Squares of what they are off their middle, and -2 log likelihood, for each scatter."""
        whole = scatter_m[:, None] ** 2 + self.noise_m2
        weight = (self.one**2 / whole).sum(axis=1)
        middle = (self.one * self.gap_m / whole).sum(axis=1) / weight
        off = ((self.gap_m - middle[:, None] * self.one) ** 2 / whole).sum(axis=1)
        return off, off + np.log(whole).sum(axis=1) + np.log(weight)

    def too_even(self) -> bool:
        """Whether they are more even than such noise would have shown any to be."""
        off, _ = self.fit(_SCATTER_M[:1])
        return bool(chdtr(len(self.gap_m) - 1, off[0]) < _EVEN_LEVEL)


def _true_share(apart_m: FloatArray, within_m: float) -> tuple[float, float]:
    """Share of the variance of gaps within a pass that is not the receiver's, and how far it goes.

    Gaps farther from their pass's were not meant to be like it.
    """
    seen = _MAD * float(np.median(np.abs(apart_m))) if len(apart_m) else 0.0
    noise = np.sqrt(2.0) * within_m
    if not seen > _EVENER * noise:
        return 1.0, np.inf
    return max(1 - (noise / seen) ** 2, _LEAST_SHARE), _OUTLIER * max(seen, noise)


def _ends(
    rng: np.random.Generator,
    shifts: Shifts,
    looked: IntArray,
    across: Across,
) -> FloatArray:
    """How much farther out rows truly went on or off, (events, n).

    Anywhere within half a logging interval; where many passes end at like ground, rather as
    far from it as the others do, whatever the receiver was off there and then. A pass that was
    steered lies beside where the log has it, and ends that come up to it were meant for the log's.
    What these show of a hand that is late, or of the drill, holds for ends at the fence.
    """
    e = shifts.edges.at(looked)
    count = int(shifts.edges.event.max(initial=-1)) + 1
    if not count:
        return np.zeros((1, len(shifts.kind)))
    end = np.flatnonzero(e.event >= 0)
    event, began, speed = e.event[end], e.began[end], shifts.speed_mps[looked][end]
    reach = np.zeros(count)
    np.maximum.at(reach, event, shifts.interval_s / 2 * speed)
    kind, gap, partner = across.kind[end], across.gap_m[end].copy(), across.partner[end]
    # An end that lies in another pass was meant for that, though the field may end nearer to it.
    over = (kind == BOUNDARY) & (across.others[end] > 0) & (partner >= 0)
    gap[over] = _gaps_m(e.at(end[over]), shifts.edges.at(partner[over]))
    kind = np.where(over, SEAM, kind)
    moving = speed[speed > 0]
    usual_mps = float(np.median(moving)) if len(moving) else 0.0
    # Where the figures of the drill are off, and the hand is late, work begins and is left off in
    # the log so much later than in the ground.
    late = shifts.behind_m - shifts.lag_s * usual_mps + HAND_S * usual_mps * normal(rng, 1)[0]
    out = reach[:, None] * (2 * uniform(rng, count) - 1)
    for met, meant, within in ((SEAM, 0.0, _ANYWHERE_M), (BOUNDARY, _SHORT_M, _MIDDLE_M)):
        # Ends are of what most of them come up to.
        most = _means(event, kind == met) > 0.5
        use = (kind == met) & most[event] & (reach[event] > 0)
        alike, of = np.unique(event[use], return_inverse=True)
        if len(alike) < _LEAST_ENDS:
            continue
        moved = shifts.receiver_m(looked[end][use])
        if met == SEAM:
            by_eye = ~shifts.steered[shifts.unit[partner[use]], None]
            moved -= by_eye * shifts.receiver_m(partner[use]) / across.slant[end][use, None]
        before = np.stack([meant + within * normal(rng, 1)[0], late])
        out[alike], late = _as_meant(
            rng,
            _means(of, gap[use]),
            np.where(_means(of, began[use]) > 0, 1.0, -1.0),
            reach[alike],
            out[alike],
            _means(of, moved),
            before,
            _BY_SWITCH_S * usual_mps,
        )
    return out


def _gaps_m(mine: Edges, others: Edges) -> FloatArray:
    """Way outward from edges to the lines of others."""
    x, y = others.x_m - mine.x_m, others.y_m - mine.y_m
    slant = mine.out_x * others.out_x + mine.out_y * others.out_y
    return np.asarray((x * others.out_x + y * others.out_y) / slant)


def _means(of: IntArray, values: FloatArray | BoolArray) -> FloatArray:
    """Mean row of each group that rows are ``of``, all of which there are."""
    whole = np.zeros((of.max() + 1, *values.shape[1:]))
    np.add.at(whole, of, values)
    return np.asarray((whole.T / np.bincount(of)).T)


def _as_meant(
    rng: np.random.Generator,
    gap_m: FloatArray,
    sign: FloatArray,
    reach_m: FloatArray,
    free_m: FloatArray,
    by_receiver_m: FloatArray,
    before_m: FloatArray,
    scatter_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Moves of ends that were meant to lie alike, (ends, n), from those drawn freely.

    Gaps of the log are what was meant, more by what it is late where work begins and less where it
    is left off, and a scatter: draws of the two are moved by what they miss the gaps by, in
    proportion to covariances. Gaps truly scatter normally, and lie within the reach of those
    logged: a normal distribution cut off on both sides. Where the receiver errs by more than
    records lie apart, they lie about those logged normally. Either way what the receiver closes or
    opens is not closed or opened again.

    Parameters
    ----------
    sign : (ends,) float
        1 where work begins, -1 where it is left off.
    by_receiver_m : (ends, n) float
        How much the receiver's error closes each gap in the draws.
    before_m : (2, n) float
        Draws of what was meant, and of what the log is late, before it is seen.
    scatter_m : float
        How much gaps truly scatter, before the log is seen: or twice as much, or half.

    Returns
    -------
    (ends, n) float, (n,) float
        Moves, and what the log is late.
    """
    of_receiver = by_receiver_m.var(axis=1)
    noise = reach_m**2 / 3 + of_receiver
    told = np.column_stack([np.ones(len(sign)), sign])

    def gain(told: FloatArray, variance: FloatArray) -> FloatArray:
        """Of both, for each metre of gap (of scattering variance)."""
        weighed = told.T / variance
        sure = weighed @ told + np.diag(1 / before_m.var(axis=1))
        return np.asarray(np.linalg.solve(sure, weighed))

    usual = before_m.mean(axis=1)
    usual = usual + gain(told, scatter_m**2 + noise) @ (gap_m - told @ usual)
    off = gap_m - told @ usual
    spread = max(_MAD * np.median(np.abs(off)), np.sqrt(np.median(noise)))
    meant = np.abs(off) <= _OUTLIER * spread
    gaps = _Gaps.of(off[meant], noise[meant])
    if meant.sum() < _LEAST_ENDS or gaps.too_even():
        return free_m, before_m[1]
    moved, late = free_m.copy(), np.empty(free_m.shape[1])
    gap, told, noise = gap_m[meant, None], told[meant], noise[meant, None]
    by_receiver, cut = by_receiver_m[meant], (of_receiver < reach_m**2 / 3)[meant, None]
    reach = np.sqrt(3 * noise)  # of a uniform distribution of this variance
    closed = np.empty(by_receiver.shape)
    scattered, drawn = normal(rng, len(gap)), uniform(rng, len(gap))
    before = (np.log(_END_SCATTER_M / scatter_m) / _TIMES) ** 2
    scatters = _scatters([gaps], _END_SCATTER_M, before)
    for k, (_, scatter) in enumerate(scatters):
        draws = slice(k, None, len(scatters))
        variance = scatter**2 + noise
        known = before_m[:, draws]
        rest = gap - told @ known - np.sqrt(variance) * scattered[:, draws]
        known = known + gain(told, variance[:, 0]) @ rest
        late[draws] = known[1]
        off = gap - told @ known
        # Both tails are kept within what the normal distribution can be told apart in.
        low = ndtr(np.minimum((-reach - off) / scatter, 6.0))
        high = ndtr(np.maximum((reach - off) / scatter, -6.0))
        within = off + scatter * ndtri(low + drawn[:, draws] * (high - low))
        share = noise / variance
        about = share * off + scatter * np.sqrt(share) * ndtri(drawn[:, draws])
        closed[:, draws] = np.where(cut, np.clip(within, -reach, reach), about)
    moved[meant] = closed - by_receiver
    return moved, late
