"""Drives as a stick has them, and which of them are the same drive twice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.spatial
import shapely

from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.pass_spacing import pass_spacing_m
from evenacre.io.stick.files import StickFile
from evenacre.io.stick.identify import Found
from evenacre.io.taskdata.read import Task
from evenacre.model import UNDATED_S, BoolArray, FloatArray, Track

# Clocks of one drive differ by a zone at most, unless one of them is set wrong.
_QUARTER_S, _FARTHEST_CLOCK_S = 900.0, 14 * 3600.0
_SAME_CLOCK_S = 3.0
_SAMPLE = 400
# Fixes of one drive written twice differ by the digits that were kept; other drives do by more.
_SAME_FIX_M = 0.03
_NEAR_M = 0.6
_SAME, _MUCH = 0.95, 0.3
_SAME_RATE = 0.01
_ROUNDED_M, _DEGREE_M = 0.001, 111_195.0
_FEW = 10
_STANDS_M = 0.15
_NO_ZONE = "names no time zone: times are those of the clock"


@dataclass(frozen=True)
class Drive:
    """The records of one log: a file, a layer of it, or a task."""

    file: StickFile
    layer: str | None
    # (n,) in the order of the log, those with a position
    time_s: FloatArray
    lon: FloatArray
    lat: FloatArray
    working: BoolArray
    timed: bool
    dated: bool
    zoned: bool  # its clock is known, not the machine's own
    products: dict[str, float]  # median rate of each, kg per m2; 0 where only a flow is told
    width_m: float | None
    rows: int
    sections: int
    states: int  # how much it tells of its work: 3 sections, 2 work state, 1 a rate or width
    task: Task | None = None
    field: str = ""  # names of its field, its crop and its implement, where they are told
    crop: str = ""
    implement: str = ""
    named_by: tuple[int, ...] = ()  # numbers of the operations of the season that name it
    seen: bool = False  # it was gathered before
    known: int | None = None  # of those operations the one on the field it was cut for

    @property
    def dropped(self) -> bool:
        """Whether somebody took it out of the season, or it was left out."""
        return self.seen and self.known is None

    @property
    def is_new(self) -> bool:
        """Whether the season knows nothing of it."""
        return not (self.seen or self.named_by)

    @property
    def name(self) -> str:
        """What it is called in sentences."""
        return f"{self.file.name} ({self.layer})" if self.layer else self.file.name

    @property
    def richness(self) -> tuple[object, ...]:
        """What makes one of two copies the better one, in order of weight."""
        return (
            *(self.timed, self.dated, self.states, len(self.products), self.zoned),
            *(self.width_m is not None, len(self.time_s), not self.file.packed),
        )

    def part(self, keep: BoolArray) -> Drive:
        """Return some of its records."""
        kept = {k: getattr(self, k)[keep] for k in ("time_s", "lon", "lat", "working")}
        return replace(self, **kept)


def drives_of(file: StickFile, found: Found) -> list[Drive]:
    """The drives in a file or layer."""
    if found.tasks is not None:
        fields = found.tasks.fields
        return [
            replace(
                _drive(file, task.layer, task.tracks),
                task=task,
                field=fields[task.field_id].name if task.field_id else "",
            )
            for task in found.tasks.tasks
            if task.tracks
        ]
    if not found.tracks:
        return []
    field, crop, tool = (_one_name(found.tracks, what) for what in ("field", "crop", "implement"))
    drive = _drive(file, found.layer, found.tracks)
    return [replace(drive, field=field, crop=crop, implement=tool)]


def _one_name(tracks: Sequence[Track], what: str) -> str:
    """The only name of a kind that the tracks tell; empty without one."""
    called = {t.named[what] for t in tracks if what in t.named}
    return called.pop() if len(called) == 1 else ""


def _drive(file: StickFile, layer: str | None, tracks: Sequence[Track]) -> Drive:
    time, lon, lat = (
        np.concatenate([getattr(t, name) for t in tracks]) for name in ("time_s", "lon", "lat")
    )
    working = np.concatenate([_working(track) for track in tracks])
    if not working.any():
        working = ~working
    placed = np.isfinite(time) & np.isfinite(lon) & np.isfinite(lat)
    time, lon, lat, working = time[placed], lon[placed], lat[placed], working[placed]
    order = np.argsort(time, kind="stable")
    products: dict[str, float] = {}
    for track in tracks:
        for name in (*track.rates, *track.flows):
            told = name or track.named.get("product", "")
            products.setdefault(told, _median(track.rates.get(name)))
    widths = [w for t in tracks if t.width_m is not None and (w := _steady(t.width_m))]
    sections = [t for t in tracks if t.sections is not None]
    states = max(
        3 if t.sections is not None else 2 if t.working is not None else bool(products or widths)
        for t in tracks
    )
    return Drive(
        file=file,
        layer=layer,
        time_s=time[order],
        lon=lon[order],
        lat=lat[order],
        working=working[order],
        timed=all(t.timed for t in tracks),
        dated=bool(len(time)) and float(time.min()) >= UNDATED_S,
        zoned=not any(_NO_ZONE in note for t in tracks for note in t.notes),
        products=products,
        width_m=max(widths, default=None),
        rows=max((_count(t) for t in sections if t.sections_are_rows), default=0),
        sections=max((_count(t) for t in sections if not t.sections_are_rows), default=0),
        states=int(states),
    )


def _count(track: Track) -> int:
    return 0 if track.sections is None else track.sections.shape[1]


def _working(track: Track) -> BoolArray:
    on = np.ones(len(track), dtype=bool)
    if track.sections is not None:
        on &= track.sections.any(axis=1)
    if track.working is not None:
        on &= track.working
    if track.sections is None and track.working is None:
        amounts = [*track.rates.values(), *track.flows.values()]
        if amounts and any((values > 0).any() for values in amounts):
            on = np.any([values > 0 for values in amounts], axis=0)
    return on


def _median(values: FloatArray | None) -> float:
    known = values[values > 0] if values is not None else np.empty(0)
    return float(np.median(known)) if known.size else 0.0


def _steady(width_m: FloatArray) -> float | None:
    """Largest width that is told again and again."""
    known = np.round(width_m[width_m > 0], 3)
    values, counts = np.unique(known, return_counts=True)
    steady = values[counts >= max(2, 0.02 * len(known))]
    return float(steady.max()) if steady.size else None


@dataclass(frozen=True)
class Piece:
    """What of a drive lies on one field."""

    drive: Drive  # its records there alone
    x_m: FloatArray
    y_m: FloatArray
    share: float  # of the drive's working records

    @cached_property
    def tree(self) -> scipy.spatial.KDTree:
        """Its positions, to be looked up."""
        return scipy.spatial.KDTree(np.column_stack([self.x_m, self.y_m]))

    @cached_property
    def moving(self) -> np.ndarray:
        """Working records at which it moved, a sample of them."""
        step = np.hypot(np.diff(self.x_m, prepend=np.nan), np.diff(self.y_m, prepend=np.nan))
        where = np.flatnonzero((step > _STANDS_M) & self.drive.working)
        if len(where) < _FEW:
            where = np.arange(len(step))
        return where[np.unique(np.linspace(0, len(where) - 1, _SAMPLE).astype(int))]

    def retraces(self, other: Piece) -> bool:
        """Tell whether most of it was driven over again where the other one had been."""
        at = self.moving
        off = other.tree.query(np.column_stack([self.x_m[at], self.y_m[at]]))[0]
        return bool(np.mean(off < _NEAR_M + other.step_m) > 0.5)

    @cached_property
    def digits_m(self) -> float:
        """How far a position may be off by the digits that were kept."""
        steps = []
        for degrees in (self.drive.lon, self.drive.lat):
            apart = np.diff(np.unique(np.round(degrees, 10)))
            steps.append(float(apart.min()) * _DEGREE_M if len(apart) else 0.0)
        return float(np.linalg.norm(steps)) / 2

    @property
    def spacing_m(self) -> float | None:
        """How far apart its passes lie; None where there are too few."""
        at = self.drive.working
        return pass_spacing_m(self.x_m[at], self.y_m[at])

    @cached_property
    def step_m(self) -> float:
        """Usual distance between records."""
        where = np.flatnonzero(self.drive.working[1:])
        step = np.hypot(np.diff(self.x_m), np.diff(self.y_m))[where]
        return float(np.median(step)) if len(step) else 0.0


def piece_of(drive: Drive, keep: BoolArray, plane: WorkingPlane) -> Piece:
    """Cut the records of a field out of a drive."""
    part = drive.part(keep)
    share = part.working.sum() / max(1, drive.working.sum())
    return Piece(part, *plane.xy(part.lon, part.lat), float(share))


@dataclass(frozen=True)
class Twin:
    """How much of one piece is in another, both ways, and how far their clocks are apart."""

    of_first: float
    of_second: float
    apart_s: float | None


def compare(a: Piece, b: Piece) -> Twin | None:
    """Tell whether two pieces are of one drive: by positions and order, whatever their clocks."""
    if min(len(a.x_m), len(b.x_m)) < _FEW or not _meet(a, b):
        return None
    first, second = (a, b) if len(a.x_m) >= len(b.x_m) else (b, a)
    at = second.moving
    distance, near = first.tree.query(np.column_stack([second.x_m[at], second.y_m[at]]))
    if np.mean(distance < _NEAR_M + first.step_m) < _MUCH:
        return None
    exact = distance < _SAME_FIX_M
    if a.drive.timed and b.drive.timed:
        limit = _SAME_FIX_M
        if first.drive.dated and second.drive.dated:  # other drives on the same lines come near
            limit = first.digits_m + second.digits_m + _ROUNDED_M
        alike = float((distance < limit).mean()) > _SAME
        apart = _clocks(first, second, at, near, distance, alike=alike)
        still = min(_length(first), _length(second)) < _NEAR_M
        if apart is None or (still and abs(apart) > _SAME_CLOCK_S):
            return None  # whoever stands in one place is there again at any time
        shares = _followed(first, second, apart), _followed(second, first, -apart)
    else:
        apart = None
        ordered = np.mean(np.abs(np.diff(near[exact])) < len(first.x_m) / 4) if exact.any() else 0
        if exact.mean() < _SAME or ordered < _SAME:
            return None
        length = len(at) and _length(second) / max(1e-9, _length(first))
        shares = float(min(1.0, length)), float(exact.mean())
    if max(shares) < _MUCH:
        return None
    of_first, of_second = shares if first is a else shares[::-1]
    sign = 1.0 if first is a else -1.0
    return Twin(of_first, of_second, None if apart is None else sign * apart)


def _meet(a: Piece, b: Piece) -> bool:
    boxes = [shapely.box(p.x_m.min(), p.y_m.min(), p.x_m.max(), p.y_m.max()) for p in (a, b)]
    return bool(boxes[0].intersects(boxes[1]))


def _length(piece: Piece) -> float:
    return float(np.hypot(np.diff(piece.x_m), np.diff(piece.y_m)).sum())


def _clocks(
    first: Piece,
    second: Piece,
    at: np.ndarray,
    near: np.ndarray,
    distance: FloatArray,
    *,
    alike: bool,
) -> float | None:
    """How far the first's clock is ahead; None where no steady shift brings them together."""
    shift = first.drive.time_s[near] - second.drive.time_s[at]
    close = distance <= np.quantile(distance, 0.5)
    apart = float(np.median(shift[close]))
    whole = _QUARTER_S * round(apart / _QUARTER_S)
    plain = abs(apart) < _FARTHEST_CLOCK_S and abs(apart - whole) < _SAME_CLOCK_S
    undated = not (first.drive.dated and second.drive.dated)
    if not (plain or undated or alike):
        return None
    if np.mean(np.abs(shift - apart) < _SAME_CLOCK_S) < _MUCH:
        return None
    return apart


def _followed(first: Piece, second: Piece, apart_s: float) -> float:
    """Share of the first's sampled records at whose time the second was there too."""
    at = first.moving
    when = first.drive.time_s[at] - apart_s
    x = np.interp(when, second.drive.time_s, second.x_m, left=np.nan, right=np.nan)
    y = np.interp(when, second.drive.time_s, second.y_m, left=np.nan, right=np.nan)
    off = np.hypot(first.x_m[at] - x, first.y_m[at] - y)
    return float(np.mean(off < _NEAR_M + max(first.step_m, second.step_m)))


@dataclass(frozen=True)
class LeftOut:
    """A piece that is in another one already."""

    piece: Piece
    kept: Piece
    why: str


def without_doubles(pieces: Sequence[Piece]) -> tuple[list[Piece], list[LeftOut], list[str]]:
    """Part the pieces of a field into those to keep, those in another, and what overlaps."""
    kept: list[Piece] = []
    left: list[LeftOut] = []
    doubts: list[str] = []
    for piece in sorted(pieces, key=_rank, reverse=True):
        swallowed = False
        for other in list(kept):
            twin = compare(other, piece)
            if twin is None or piece.drive.known is not None:
                continue
            clock = _apart_text(twin.apart_s)
            other_day = twin.apart_s is not None and abs(twin.apart_s) > _FARTHEST_CLOCK_S
            other_day &= piece.drive.dated and other.drive.dated
            named_apart, rates_apart = _differ(piece.drive, other.drive)
            if named_apart or (other_day and rates_apart):
                doubts.append(
                    f"{piece.drive.name} and {other.drive.name} are one drive{clock} and tell of "
                    "other products or amounts; both are used."
                )
                continue
            if rates_apart and twin.of_second >= _SAME:
                doubts.append(
                    f"Is {piece.drive.name} of another product? It is the drive in "
                    f"{other.drive.name}{clock} with another rate, and was left out."
                )
            if other_day and twin.of_second >= _SAME:
                doubts.append(
                    f"Is {piece.drive.name} a job of its own? It is {other.drive.name} fix by fix, "
                    f"{abs(twin.apart_s or 0.0) / 3600:,.0f} h {_side(twin.apart_s)}, and was left "
                    "out as a copy with a wrong date."
                )
            if twin.of_second >= _SAME:
                why = f"the same drive as {other.drive.name}{clock}, {_poorer(piece, other)}"
                left.append(LeftOut(piece, other, why))
                swallowed = True
                break
            if twin.of_first >= _SAME:
                kept.remove(other)
                why = f"a part of the drive in {piece.drive.name}{clock}, which goes on longer"
                left.append(LeftOut(other, piece, why))
            else:
                share = 100 * max(twin.of_first, twin.of_second)
                doubts.append(
                    f"{piece.drive.name} and {other.drive.name} share {share:.0f} % of a drive"
                    f"{clock}; both are used."
                )
        if not swallowed:
            kept.append(piece)
    return kept, left, doubts


def _rank(piece: Piece) -> tuple[object, ...]:
    """What is in the season stays there; else the richest comes first."""
    drive = piece.drive
    return (drive.known is not None, drive.dropped, *drive.richness)


def _differ(one: Drive, other: Drive) -> tuple[bool, bool]:
    """Whether two records of one way name other products, and whether their rates differ."""
    mine, its = ({name for name in d.products if name} for d in (one, other))
    both = one.products.keys() & other.products.keys()
    pairs = [(one.products[name], other.products[name]) for name in both]
    apart = any(min(a, b) > 0 and abs(a - b) > _SAME_RATE * max(a, b) for a, b in pairs)
    return bool(mine - its and its - mine), apart


def _side(apart_s: float | None) -> str:
    return "earlier" if (apart_s or 0.0) > 0 else "later"


def _apart_text(apart_s: float | None) -> str:
    if apart_s is None or abs(apart_s) < _SAME_CLOCK_S:
        return ""
    if abs(apart_s) > _FARTHEST_CLOCK_S:
        return " on another clock"
    return f" on a clock {abs(apart_s) / 3600:g} h {'behind' if apart_s > 0 else 'ahead'}"


def _poorer(piece: Piece, other: Piece) -> str:
    mine, its = piece.drive, other.drive
    if mine.timed < its.timed or mine.dated < its.dated:
        return "which tells more of its times"
    if mine.states < its.states:
        return "which tells more of what was at work"
    if len(mine.products) < len(its.products):
        return "which tells more of what was placed"
    if mine.zoned < its.zoned:
        return "whose clock is told"
    if len(mine.time_s) < len(its.time_s):
        return "which has more records"
    return "which holds no less"
