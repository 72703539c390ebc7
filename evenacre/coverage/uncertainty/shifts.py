"""How far every edge of the swept ground may lie off, drawn many times."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import chdtr, ndtr, ndtri

from evenacre.coverage.steps import Steps
from evenacre.coverage.uncertainty.edges import BOUNDARY, SEAM, Across, Edges
from evenacre.coverage.uncertainty.position_error import PositionError
from evenacre.model import BoolArray, Doubt, FloatArray, IntArray, SettingsError

# Each draw is used with its mirror image, so that nothing linear is shifted by chance.
_HALF_DRAWS = 200
_SEED = 20
# Figures of the drill are drawn this often where the log shows which of them may be.
_TRIED = 40_000
# Error within a pass is taken to hold over this length of travel (common practice, no source).
_CORRELATION_M = 30.0
# A drift with a memory is drawn for stretches of this share of it, as many as this at most.
_STRETCH, _MOST_UNITS = 0.1, 1500
# Receivers that err by this drift from pass to pass, nobody knows how slowly: each pass may have an
# error of its own, or share it with others over some such time (common practice, no source).
_DRIFTING_M, _SLOW_S = 0.1, 600.0
# Shorter seams, or fewer, tell nothing of how passes are laid; more need not be asked.
_LEAST_SEAM_M, _LEAST_SEAMS, _MOST_SEAMS = 15.0, 4, 600
# Directions of seams of the same two passes are told apart by so much.
_SECTOR_RAD = np.pi / 4
# How much gaps between passes truly scatter, before a log is seen: as a careful driver's do, or
# twice as much or half (a standard deviation of the logarithm), ends of passes anything
# between; and how far off the middle one may be (common practice, no source).
_SCATTER_M = np.geomspace(0.02, 0.6, 25)
_BY_HAND_M, _TIMES = 0.1, np.log(2.0)
_END_SCATTER_M = np.geomspace(0.05, 3.0, 31)
_SCATTERS_TRIED = 5
_MIDDLE_M = 0.5
# Gaps farther from the middle one than so many standard deviations were not meant to be like it.
_OUTLIER = 4.0
_NOT_MEANT_M2 = 1e4
# Gaps that scatter less than noise would make them by this chance do not have it: the receiver
# steered, or ends are logged as they were meant.
_EVEN_LEVEL = 0.01
# From so many ends of passes on it is asked how they were meant to lie.
_LEAST_ENDS = 2
# Of what gaps differ by within a pass at least this share of variance is true.
_LEAST_SHARE = 0.02
_MAD = 1.4826  # standard deviations of a normal in a median absolute deviation


@dataclass(frozen=True)
class Shifts:
    """Moves of the edges, true less logged, in n draws.

    Attributes
    ----------
    edges : Edges
        The m samples.
    unit, block : (m,) int
        Drift and wander each sample shares with others.
    drift_m, wander_m : (2, units, n) and (2, blocks, n) float
        The receiver's error along ``axis_rad`` and square to it.
    left_m, behind_m, width_m, lag_s : (n,) float
        The drill's own figures, true less used.
    ends_m : (events, n) float
        How much farther out each switching of rows lies.
    heading_rad, speed_mps : (m,) float
    kind : (n,) int
        Which of several receivers each draw takes it for, where that is not told.
    """

    edges: Edges
    unit: IntArray
    block: IntArray
    drift_m: FloatArray
    wander_m: FloatArray
    axis_rad: float
    left_m: FloatArray
    behind_m: FloatArray
    width_m: FloatArray
    lag_s: FloatArray
    ends_m: FloatArray
    heading_rad: FloatArray
    speed_mps: FloatArray
    kind: IntArray

    def of_draws(self, chosen: IntArray) -> Shifts:
        """Some of the draws."""
        names = ("drift_m", "wander_m", "left_m", "behind_m", "width_m", "lag_s", "ends_m", "kind")
        return replace(self, **{name: getattr(self, name)[..., chosen] for name in names})

    def receiver_m(self, chosen: IntArray) -> FloatArray:
        """Outward moves of some of the samples by the receiver's error, (k, n)."""
        e, unit, block = self.edges.at(chosen), self.unit[chosen], self.block[chosen]
        along, aside = (part[:, None] for part in _parts(e, self.axis_rad))
        moved = along * (self.drift_m[0, unit] + self.wander_m[0, block])
        moved += aside * (self.drift_m[1, unit] + self.wander_m[1, block])
        return np.asarray(-moved)

    def outward_m(self, chosen: IntArray) -> FloatArray:
        """Outward moves of some of the samples, (k, n)."""
        e, h = self.edges.at(chosen), self.heading_rad[chosen]
        ahead, left = _parts(e, h)
        moved = self.receiver_m(chosen)
        moved -= ahead[:, None] * self.behind_m + left[:, None] * self.left_m
        moved += np.abs(e.side)[:, None] / 2 * self.width_m
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
) -> tuple[Shifts, FloatArray]:
    """Draw how far all samples may lie off, and free gaps of what noise alone makes of them.

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
    Shifts, (k, 2) float
        Gaps, m: of every other draw from the first on, and of the rest. They differ where passes
        lie so even that either they or the receiver may have made what scatter there is.
    """
    rng = np.random.default_rng(_SEED)
    moving = steps.duration_s[edges.step] > 0
    speed = np.divide(
        steps.distance_m[edges.step],
        steps.duration_s[edges.step],
        out=np.zeros(len(edges.step)),
        where=moving,
    )
    heading = steps.tool.heading_rad[edges.step]
    unit, owner, when = _units(edges, steps, number, receiver)
    sigma = receiver.pass_m[owner]
    block = _blocks(edges, number)
    drifts = _drifts(rng, sigma, when, receiver.memory_s)
    within = float(np.hypot(receiver.within_m, jitter_m))
    if receiver.memory_s is not None:
        # What such a process does within a stretch, for stretches much shorter than its memory.
        within = float(np.hypot(within, np.median(sigma) * np.sqrt(_STRETCH / 3)))
    wander = within * _normal(rng, 2 * (block.max(initial=0) + 1)).reshape(2, -1, 2 * _HALF_DRAWS)
    left, width = _doubt(rng, drill.left_m), _doubt(rng, drill.width_m)
    shifts = Shifts(
        edges=edges,
        unit=unit,
        block=block,
        drift_m=drifts[0].drawn_m,
        wander_m=wander,
        axis_rad=float(heading[0]),
        left_m=left,
        behind_m=behind_m,
        width_m=width,
        lag_s=lag_s,
        ends_m=np.zeros((1, len(left))),
        heading_rad=heading,
        speed_mps=speed,
        kind=np.zeros(len(left), dtype=np.int64),
    )
    seams = _seams(shifts, looked, across)
    gap = across.gap_m.copy()
    laid = _as_laid(rng, shifts, seams, drifts, receiver.steered, drill.left_m)
    drift, left = laid.drift_m, laid.left_m
    if len(drifts) > 1 and within:
        # A slow drift is what wanders within a pass.
        lasts_s = np.median(np.bincount(number, steps.duration_s)[1:])
        own = np.median(sigma) * np.sqrt(-np.expm1(-lasts_s / 4 / _SLOW_S))
        wander[..., laid.slow] *= min(1.0, np.hypot(own, jitter_m) / within)
    if not laid.steered:
        apart = (gap - seams.gap_m[seams.of_sample])[seams.of_sample >= 0]
        true = _true_share(apart, within)
        gap[seams.of_sample >= 0] -= (1 - true) * apart
        wander *= np.sqrt(true)
    gaps, kind = np.column_stack([gap, gap]), laid.slow.astype(int)
    if receiver.assumed:
        kind = np.arange(len(left)) % 2
        # Half of the draws have no error but the jitter: intervals reach from there to the usual.
        drift[..., ::2] = 0.0
        if laid.steered:
            wander[..., ::2], gaps[:, 0] = 0.0, _evened(gap, seams, float(left.mean()))
        elif within:
            wander[..., ::2] *= jitter_m / within
    shifts = replace(shifts, drift_m=drift, wander_m=wander, left_m=left, kind=kind)
    ends = _ends(rng, shifts, looked, across, steps, receiver.steered)
    return replace(shifts, ends_m=ends), gaps


def _evened(gap_m: FloatArray, seams: _Seams, left_m: float) -> FloatArray:
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
    mine = (seams.of_sample >= 0) & meant[seams.of_sample]
    return np.where(mine, middle + opened[seams.of_sample], gap_m)


def logging_interval_s(steps: Steps) -> float:
    """Time that a record stands for, as a rule."""
    spoken_for = np.bincount(steps.record[steps.whole], steps.duration_s[steps.whole])
    return float(np.median(spoken_for[spoken_for > 0]))


def _parts(e: Edges, angle_rad: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """The outward normals along a direction, and to its left."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    return e.out_x * cos + e.out_y * sin, e.out_y * cos - e.out_x * sin


def _normal(rng: np.random.Generator, count: int) -> FloatArray:
    """Normal draws of some variables, (count, n), in mirrored pairs, each of unit variance.

    Where few enough they are uncorrelated to the last digit, too.
    """
    half = rng.normal(size=(count, _HALF_DRAWS))
    if count <= _HALF_DRAWS // 2:
        half = np.linalg.qr(half.T)[0].T * np.sqrt(_HALF_DRAWS)
    else:
        half /= np.sqrt((half**2).mean(axis=1, keepdims=True))
    return np.concatenate([half, -half], axis=1)


def _uniform(rng: np.random.Generator, count: int) -> FloatArray:
    """Draws between 0 and 1, alike."""
    return np.asarray(ndtr(_normal(rng, count)))


def _doubt(rng: np.random.Generator, doubt: Doubt) -> FloatArray:
    spread = doubt.low + (doubt.high - doubt.low) * _uniform(rng, 1)[0]
    return np.asarray(doubt.sigma * _normal(rng, 1)[0] + spread)


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
    at = (np.arange(2 * _HALF_DRAWS) + 0.5) / (2 * _HALF_DRAWS) * chance[-1]
    kept = rng.permutation(np.searchsorted(chance, at))
    return behind[kept], lag[kept]


def _units(
    edges: Edges, steps: Steps, number: IntArray, receiver: PositionError
) -> tuple[IntArray, IntArray, FloatArray]:
    """Stretches that share one drift: of each sample; their passes and middle times, (units,)."""
    own, time = number[edges.step], steps.tool.time_s[edges.step]
    stretch = np.zeros(len(own), dtype=np.int64)
    if receiver.memory_s is not None:
        worked = float(steps.duration_s[number > 0].sum())
        long_s = max(_STRETCH * receiver.memory_s, worked / _MOST_UNITS)
        stretch = np.floor((time - time.min()) / long_s).astype(np.int64)
    most = int(stretch.max(initial=0)) + 1
    found, unit = np.unique(own * most + stretch, return_inverse=True)
    count = np.bincount(unit)
    return unit, found // most, np.bincount(unit, time - time.min()) / count


def _blocks(edges: Edges, number: IntArray) -> IntArray:
    """Stretches of a pass that share one wander."""
    stretch = np.floor(edges.travelled_m / _CORRELATION_M).astype(np.int64)
    most = int(stretch.max(initial=0)) + 1
    return np.unique(number[edges.step] * most + stretch, return_inverse=True)[1]


@dataclass(frozen=True)
class _Drift:
    """Errors of the units along both axes, drawn, (2, units, n), and what they come from."""

    drawn_m: FloatArray
    sigma_m: FloatArray
    when_s: FloatArray
    memory_s: float | None

    @classmethod
    def of(
        cls, normal: FloatArray, sigma: FloatArray, when: FloatArray, memory_s: float | None
    ) -> _Drift:
        """From normal draws, (2, units, n), of unit variance."""
        if memory_s is not None:
            order = np.argsort(when, kind="stable")
            keep = np.exp(-np.diff(when[order]) / memory_s)
            normal = normal.copy()
            for k, (a, b) in enumerate(itertools.pairwise(order)):
                normal[:, b] = keep[k] * normal[:, a] + np.sqrt(1 - keep[k] ** 2) * normal[:, b]
        return cls(sigma[:, None] * normal, sigma, when, memory_s)

    def covariance(self, units: IntArray) -> FloatArray:
        """Of every unit with some, (all, some)."""
        if self.memory_s is None:
            alike = (np.arange(len(self.sigma_m))[:, None] == units).astype(float)
        else:
            alike = np.exp(-np.abs(self.when_s[:, None] - self.when_s[units]) / self.memory_s)
        return np.asarray(self.sigma_m[:, None] * alike * self.sigma_m[units])


def _drifts(
    rng: np.random.Generator, sigma: FloatArray, when: FloatArray, memory_s: float | None
) -> list[_Drift]:
    """Drifts of one memory or, where it may be any, of none and of a long one."""
    normal = _normal(rng, 2 * len(sigma)).reshape(2, len(sigma), -1)
    memories: list[float | None] = [memory_s]
    if memory_s is None and np.median(sigma) >= _DRIFTING_M:
        memories.append(_SLOW_S)
    return [_Drift.of(normal, sigma, when, memory) for memory in memories]


@dataclass(frozen=True)
class _Laid:
    """Drift, and the antenna's offset, that agree with the gaps of the log.

    ``steered`` where the receiver's error is all in the ground, or as if it were; ``slow`` draws
    have the second kind of drift.
    """

    drift_m: FloatArray
    left_m: FloatArray
    steered: bool
    slow: BoolArray


@dataclass(frozen=True)
class _Seams:
    """Seams between two units, or a unit and the end of the field: s of them.

    ``of_sample`` is -1 where a sample is of none.
    """

    first: IntArray
    second: IntArray  # -1: the end of the field
    out_x: FloatArray  # mean normal of the first
    out_y: FloatArray
    left: FloatArray  # by how much a metre of the antenna's offset opens it in the log
    gap_m: FloatArray
    of_sample: IntArray


def _seams(shifts: Shifts, looked: IntArray, across: Across) -> _Seams:
    e = shifts.edges.at(looked)
    j = np.maximum(across.partner, 0)
    at_end = across.kind == BOUNDARY
    mine, other = shifts.unit[looked], np.where(at_end, len(shifts.unit), shifts.unit[j])
    use = (across.kind == SEAM) & (shifts.edges.side[j] != 0) & (mine != other)
    use = (use | at_end) & (across.others == 0) & (e.side != 0)
    turned = mine > other
    sign = np.where(turned, -1.0, 1.0)
    x, y = e.out_x * sign, e.out_y * sign
    sector = np.rint((np.arctan2(y, x) - shifts.axis_rad) / _SECTOR_RAD).astype(int) % 8
    size = len(shifts.unit) + 1
    key = (np.minimum(mine, other) * size + np.maximum(mine, other)) * 8 + sector
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
    place = np.full(len(found) + 1, -1)
    place[long] = np.arange(len(long))
    of_sample = np.full(len(looked), -1)
    of_sample[use] = place[of]
    first, second = first[long], np.where(second == size - 1, -1, second)[long]
    return _Seams(first, second, out_x[long], out_y[long], opened[long], gap[long], of_sample)


def _as_laid(
    rng: np.random.Generator,
    shifts: Shifts,
    seams: _Seams,
    drifts: Sequence[_Drift],
    steered: bool,
    doubt: Doubt,
) -> _Laid:
    """Draw drift and lateral offset that agree with the gaps of the log.

    Gaps less those truly left are differences of drifts along the normal, and what the offset
    opens and closes in turn: linear, so draws made freely are moved by what they miss the log's
    gaps by, in proportion to covariances. Where the machine held a line, gaps of the log are as
    planned, even, but for the offset. Of several kinds of drift each has draws as the gaps agree
    with it, alike many where they do not tell.
    """
    drift, left = drifts[0].drawn_m.copy(), shifts.left_m.copy()
    for k, one in enumerate(drifts):
        drift[:, :, k :: len(drifts)] = one.drawn_m[:, :, k :: len(drifts)]
    slow = np.arange(len(left)) % len(drifts) == 1
    free = _Laid(drift, left, True, slow)
    between = seams.second >= 0
    if between.sum() < _LEAST_SEAMS:
        return free
    cos, sin = np.cos(shifts.axis_rad), np.sin(shifts.axis_rad)
    normal = np.stack(
        [seams.out_x * cos + seams.out_y * sin, seams.out_y * cos - seams.out_x * sin]
    )

    def differences(of_units: FloatArray) -> FloatArray:
        """Of the second unit less the first, along the normal; the field's end has none."""
        second = np.where(between[:, None], of_units[:, np.maximum(seams.second, 0)], 0.0)
        return np.asarray(np.einsum("ks,kst->st", normal, second - of_units[:, seams.first]))

    # Covariance of the drift of all units with what opens the seams, (2, units, seams) each.
    with_drift = [
        (d.covariance(np.maximum(seams.second, 0)) * between - d.covariance(seams.first))[None]
        * normal[:, None]
        for d in drifts
    ]
    left_var = doubt.sigma**2 + (doubt.high - doubt.low) ** 2 / 12
    of_drift = [differences(one) for one in with_drift]
    of_left = left_var * np.outer(seams.left, seams.left)
    own = np.diag(of_drift[0] + of_left)
    if not own.max() > 0:
        return free
    middle = np.full(len(own), np.median(seams.gap_m[between]))
    if not between.all():
        middle[~between] = np.median(seams.gap_m[~between])
    off = seams.gap_m - middle
    spread = max(_MAD * np.median(np.abs(off[between])), np.sqrt(np.median(own)))
    meant = np.abs(off) <= _OUTLIER * spread
    told = np.flatnonzero(meant & between)
    if len(told) < _LEAST_SEAMS:
        return free

    def gaps(noise: FloatArray) -> _Gaps:
        return _Gaps.of(seams.gap_m[told], noise[np.ix_(told, told)])

    kinds = [gaps(one + of_left) for one in of_drift]
    steered = steered or all(one.too_even() for one in kinds)
    if steered:
        if not left_var > 0:
            return free
        kinds, of_drift = [gaps(of_left)], [np.zeros_like(of_left)]
    # What is meant between passes is one, and along the end of the field another.
    of_kind = np.stack([between, ~between]).astype(float)
    alike = _MIDDLE_M**2 * of_kind.T @ of_kind
    common, laid = _MIDDLE_M * of_kind.T @ _normal(rng, 2), _normal(rng, len(own))
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
        drawn += np.sqrt(truly)[:, None] * laid[:, draws]
        if not steered:
            drawn += differences(drift[:, :, draws])
        noise = of_drift[which] + of_left + np.diag(truly) + alike
        rest = cho_solve(cho_factor(noise), off[:, None] - drawn)
        if not steered:
            drift[:, :, draws] += with_drift[which] @ rest
        left[draws] += left_var * (seams.left @ rest)
    return _Laid(drift, left, steered, slow)


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


def _true_share(apart_m: FloatArray, within_m: float) -> float:
    """Share of the variance of gaps within a pass that is not the receiver's."""
    if not within_m or not len(apart_m):
        return 1.0
    seen = float(_MAD * np.median(np.abs(apart_m))) ** 2
    return max(1 - 2 * within_m**2 / max(seen, 1e-12), _LEAST_SHARE)


def _ends(
    rng: np.random.Generator,
    shifts: Shifts,
    looked: IntArray,
    across: Across,
    steps: Steps,
    steered: bool,
) -> FloatArray:
    """How much farther out rows truly went on or off, (events, n).

    Anywhere within half a logging interval; where many passes end at like ground, rather as
    far from it as the others do, whatever the receiver was off there and then. A pass that was
    steered lies beside where the log has it, and ends that come up to it were meant for the log's.
    """
    e = shifts.edges.at(looked)
    count = int(shifts.edges.event.max(initial=-1)) + 1
    if not count:
        return np.zeros((1, len(shifts.kind)))
    interval_s = logging_interval_s(steps)
    end = np.flatnonzero(e.event >= 0)
    event, kind = e.event[end], across.kind[end]
    reach = np.zeros(count)
    np.maximum.at(reach, event, interval_s / 2 * shifts.speed_mps[looked][end])
    # Ends that come up to a pass, and those at the end of the field, where rows go on, or off: the
    # drill's own figures move these the other way.
    met = np.where(kind == SEAM, 0, np.where(kind == BOUNDARY, 2, -2))
    like = met + e.began[end].astype(int)
    out = reach[:, None] * (2 * _uniform(rng, count) - 1)
    for group in range(4):
        use = like == group
        seen = np.bincount(event[use], minlength=count)
        alike = np.flatnonzero((seen > 0) & (reach > 0))
        if len(alike) < _LEAST_ENDS:
            continue
        gap = np.bincount(event[use], across.gap_m[end][use], minlength=count)[alike] / seen[alike]
        mine = looked[end][use]
        moved = shifts.receiver_m(mine)
        if group < 2 and not steered:
            partner, slant = across.partner[end][use], across.slant[end][use]
            moved -= shifts.receiver_m(partner) / slant[:, None]
        by_receiver = np.zeros((count, moved.shape[1]))
        np.add.at(by_receiver, event[use], moved)
        by_receiver = by_receiver[alike] / seen[alike, None]
        out[alike] = _as_meant(rng, gap, reach[alike], out[alike], by_receiver)
    return out


def _as_meant(
    rng: np.random.Generator,
    gap_m: FloatArray,
    reach_m: FloatArray,
    free_m: FloatArray,
    by_receiver_m: FloatArray,
) -> FloatArray:
    """Moves of ends that were meant to lie alike, (ends, n), from those drawn freely.

    Gaps truly scatter normally, and lie within the reach of those logged: a normal distribution
    cut off on both sides. Where the receiver errs by more than records lie apart, they lie about
    those logged normally. Either way what the receiver closes or opens is not closed or opened
    again.

    Parameters
    ----------
    by_receiver_m : (ends, n) float
        How much the receiver's error closes each gap in the draws.
    """
    of_receiver = by_receiver_m.var(axis=1)
    noise = reach_m**2 / 3 + of_receiver
    usual = np.median(gap_m)
    spread = max(_MAD * np.median(np.abs(gap_m - usual)), np.sqrt(np.median(noise)))
    meant = np.abs(gap_m - usual) <= _OUTLIER * spread
    gaps = _Gaps.of(gap_m[meant], noise[meant])
    if meant.sum() < _LEAST_ENDS or gaps.too_even():
        return free_m
    moved = free_m.copy()
    gap, noise, by_receiver = gap_m[meant, None], noise[meant, None], by_receiver_m[meant]
    cut = (of_receiver < reach_m**2 / 3)[meant, None]
    reach = np.sqrt(3 * noise)  # of a uniform distribution of this variance
    closed = np.empty(by_receiver.shape)
    mirrored, drawn = _normal(rng, 1)[0], _uniform(rng, len(gap))
    scatters = _scatters([gaps], _END_SCATTER_M)
    for k, (_, scatter) in enumerate(scatters):
        draws = slice(k, None, len(scatters))
        weight = 1 / (scatter**2 + noise)
        middle = (weight * gap).sum() / weight.sum() + mirrored[draws] / np.sqrt(weight.sum())
        off = gap - middle
        # Both tails are kept within what the normal distribution can be told apart in.
        low = ndtr(np.minimum((-reach - off) / scatter, 6.0))
        high = ndtr(np.maximum((reach - off) / scatter, -6.0))
        within = off + scatter * ndtri(low + drawn[:, draws] * (high - low))
        share = noise / (scatter**2 + noise)
        about = share * off + scatter * np.sqrt(share) * ndtri(drawn[:, draws])
        closed[:, draws] = np.where(cut, np.clip(within, -reach, reach), about)
    moved[meant] = closed - by_receiver
    return moved
