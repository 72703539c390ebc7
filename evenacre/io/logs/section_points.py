"""Records of one time that stand side by side: the section of each, told by geometry alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from evenacre.geo.local_crs import WorkingPlane
from evenacre.model import BoolArray, FloatArray, IntArray

# The share of records that have company, from which points are sections; less will do where
# the log numbers them.
_IN_COMPANY, _NUMBERED_COMPANY = 0.5, 0.1
# Sections lie across the way: the cosine of the angle between their line and the motion.
_ACROSS = 0.5
# Of the spacing: how far a section may stand from its place, and how many may stand further.
_OFF_PLACE, _STRAY = 0.25, 0.1
# Records this far apart along the way within one second are of different fixes.
_ALONG_M = 0.25
# A tool that moves less than this share of the usual step stands.
_STANDING = 0.1
# Weight of the times around one whose few points do not tell how the tool lies.
_NEIGHBOURS = 0.01
_MOST_SECTIONS = 1000
# No section of a drill is wider: what stands further apart is several machines.
_WIDEST_M = 15.0
# A log that says nothing for so many intervals may go on anywhere.
_BREAK_INTERVALS = 5.0


@dataclass(frozen=True)
class SectionPoints:
    """n records as f fixes of one tool with s sections.

    Attributes
    ----------
    fix : (n,) int
        The fix of each record; -1 where it has no time or place or repeats another one.
    section : (n,) int
        From 0 at the left.
    time_s, lon, lat : (f,) float
        Fixes in order of time, at the middle of the whole tool.
    spacing_m : (s - 1,) float
        From the middle of each section to that of the next.
    rigid : bool
        The sections keep their places in the tool from time to time.
    """

    fix: IntArray
    section: IntArray
    time_s: FloatArray
    lon: FloatArray
    lat: FloatArray
    spacing_m: FloatArray
    rigid: bool


@dataclass(frozen=True)
class _Groups:
    """Records in order of time, and the groups of them that make a fix."""

    time_s: FloatArray  # (n,)
    xy: FloatArray  # (n, 2)
    machine: IntArray  # (n,)
    of: IntArray  # (n,) group of each record, ascending

    @property
    def first(self) -> IntArray:
        """First record of each group."""
        return np.flatnonzero(np.diff(self.of, prepend=-1))

    @property
    def size(self) -> IntArray:
        return np.bincount(self.of)

    def mean(self, values: FloatArray) -> FloatArray:
        """Mean over each group of (n, k) values."""
        sums = [np.bincount(self.of, column) for column in values.T]
        return np.column_stack(sums) / self.size[:, None]

    def runs(self) -> IntArray:
        """Number of the unbroken stretch each group lies in."""
        time, machine = self.time_s[self.first], self.machine[self.first]
        step = np.diff(time)
        usual = float(np.median(step[step > 0])) if (step > 0).any() else 1.0
        breaks = (step > _BREAK_INTERVALS * usual) | (np.diff(machine) != 0)
        return np.concatenate([[0], np.cumsum(breaks)]).astype(np.int64)


def find_section_points(
    time_s: FloatArray,
    lon: FloatArray,
    lat: FloatArray,
    number: IntArray | None,
    machine: IntArray,
) -> SectionPoints | None:
    """Tell whether records of one time stand side by side, and which section each one is.

    Fixes of a clock too coarse for them lie one behind the other, several machines stand now
    here, now there: neither is meant, and the answer is None.

    Parameters
    ----------
    number : (n,) int or None
        Number of each record's section where the log has a column of them.
    machine : (n,) int
        Records of different machines never share a fix.
    """
    records = pd.DataFrame({"t": time_s, "lon": lon, "lat": lat, "m": machine})
    if number is not None:
        records["n"] = number
    usable = np.flatnonzero(records.notna().all(axis=1) & ~records.duplicated())
    if len(usable) < 4:
        return None
    plane = WorkingPlane(float(np.median(lon[usable])), float(np.median(lat[usable])))
    rows = usable[np.lexsort((usable, time_s[usable], machine[usable]))]
    xy = np.column_stack(plane.xy(lon[rows], lat[rows]))
    time, own = time_s[rows], machine[rows]
    groups = _Groups(time, xy, own, _numbered(np.diff(time) != 0, np.diff(own) != 0))
    least = _IN_COMPANY if number is None else _NUMBERED_COMPANY
    if _company(groups) < least:
        return None
    numbers = None if number is None else number[rows]
    groups, order = _by_fix(groups, numbers)
    rows, numbers = rows[order], None if numbers is None else numbers[order]
    if _company(groups) < least or not _across(groups):
        return None
    left = _left(groups)
    section = _sections(groups, left) if numbers is None else numbers - numbers.min()
    if section is None or not 1 <= section.max() < _MOST_SECTIONS:
        return None
    offset = np.einsum("ij,ij->i", groups.xy, left[groups.of])
    offset -= groups.mean(offset[:, None])[groups.of, 0]
    if numbers is not None and np.corrcoef(section, offset)[0, 1] > 0:
        section = section.max() - section  # numbered from the right
    spacing = _spacing(groups, section, offset)
    if not ((spacing > 0) & (spacing < _WIDEST_M)).all():
        return None
    place = -np.concatenate([[0.0], np.cumsum(spacing)])
    place -= place.mean()
    ahead = np.column_stack([left[:, 1], -left[:, 0]])
    middle = groups.mean(groups.xy - place[section, None] * left[groups.of])
    off = groups.xy - middle[groups.of] - place[section, None] * left[groups.of]
    along = np.einsum("ij,ij->i", off, ahead[groups.of])
    # Ranks of openers stand one behind the other, always by as much.
    usual = pd.Series(along).groupby(section).transform("median").to_numpy()
    off -= usual[:, None] * ahead[groups.of]
    stray = np.hypot(*off.T) > _OFF_PLACE * np.median(spacing) + 0.05
    rigid = bool(stray.mean() < _STRAY)
    if not rigid and numbers is None:
        return None
    fix, found = np.full(len(time_s), -1), np.zeros(len(time_s), dtype=np.int64)
    fix[rows], found[rows] = groups.of, section
    lon_of, lat_of = plane.lonlat(*middle.T)
    return SectionPoints(fix, found, groups.time_s[groups.first], lon_of, lat_of, spacing, rigid)


def section_widths_m(spacing_m: FloatArray) -> FloatArray:
    """Widths of sections whose middles are so far apart, as like one another as may be.

    Half the widths of two neighbours make their spacing, which leaves one width open.
    """
    count = len(spacing_m) + 1
    sign = np.where(np.arange(count) % 2, -1.0, 1.0)
    base = np.zeros(count)
    for k, apart in enumerate(spacing_m):
        base[k + 1] = 2 * apart - base[k]
    design = sign - sign.mean()
    width = base - sign * float((design * (base - base.mean())).sum() / (design**2).sum())
    if (width > 0.2 * spacing_m.mean()).all():
        return np.asarray(width)
    return np.convolve(np.pad(spacing_m, 1, mode="edge"), [0.5, 0.5], mode="valid")


def _numbered(*changes: BoolArray) -> IntArray:
    """Number what lies between changes."""
    return np.concatenate([[0], np.cumsum(np.logical_or.reduce(changes))]).astype(np.int64)


def _company(groups: _Groups) -> float:
    """Share of the records that are not alone at their time."""
    size = groups.size
    return float(size[size > 1].sum() / len(groups.of))


def _by_fix(groups: _Groups, number: IntArray | None) -> tuple[_Groups, IntArray]:
    """Part the fixes that share a time, and the order the records are then in."""
    if number is not None:
        rank = pd.Series(number).groupby([groups.of, number]).cumcount().to_numpy()
    else:
        rank = _ranks_along(groups)
    order = np.lexsort((np.arange(len(rank)), rank, groups.of))
    of = _numbered(np.diff(groups.of[order]) != 0, np.diff(rank[order]) != 0)
    xy, own = groups.xy[order], groups.machine[order]
    return _Groups(groups.time_s[order], xy, own, of), order


def _ranks_along(groups: _Groups) -> IntArray:
    """Which of the fixes of its time each record is of, by how far it lies along the way."""
    way = _unit(_motion(groups, groups.mean(groups.xy)))
    along = np.einsum("ij,ij->i", groups.xy, way[groups.of])
    order = np.lexsort((along, groups.of))
    step = np.diff(along[order], prepend=0.0)
    step[groups.first] = 0.0
    largest, size = np.maximum.reduceat(step, groups.first), groups.size
    # Where sections come and go the middle moves sideways and does not tell the way.
    steady = (size > 1) & (np.diff(size, prepend=0) == 0)
    usual = float(np.median(largest[steady])) if steady.any() else 0.0
    rank = np.zeros(len(along), dtype=np.int64)
    if usual > _ALONG_M:
        count = np.cumsum(step > usual / 2)
        rank[order] = count - np.repeat(count[groups.first], groups.size)
    return rank


def _motion(groups: _Groups, at: FloatArray) -> FloatArray:
    """Move of each group's place from the one before it to the one after it, within a run."""
    step = np.diff(at, axis=0)
    step[np.diff(groups.runs()) != 0] = 0.0
    none = np.zeros((1, 2))
    return np.vstack([step, none]) + np.vstack([none, step])


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0)


def _scatter(groups: _Groups) -> FloatArray:
    """Sums of squares about each group's middle, (g, 3): xx, xy, yy."""
    off = groups.xy - groups.mean(groups.xy)[groups.of]
    products = (off[:, 0] ** 2, off[:, 0] * off[:, 1], off[:, 1] ** 2)
    return np.column_stack([np.bincount(groups.of, p) for p in products])


def _long_axis(scatter: FloatArray) -> FloatArray:
    """Direction in which points scatter most."""
    angle = np.arctan2(2 * scatter[:, 1], scatter[:, 0] - scatter[:, 2]) / 2
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _across(groups: _Groups) -> bool:
    """Tell sections from fixes along the way: they lie across the motion."""
    step = np.diff(groups.mean(groups.xy), axis=0)
    size = groups.size
    like = (size[1:] == size[:-1]) & (size[1:] > 1) & (np.diff(groups.runs()) == 0)
    like &= np.linalg.norm(step, axis=1) > 0
    if not like.any():
        return False
    cosine = np.einsum("ij,ij->i", _long_axis(_scatter(groups))[:-1][like], _unit(step[like]))
    return bool(np.median(np.abs(cosine)) < _ACROSS)


def _left(groups: _Groups) -> FloatArray:
    """Unit vector to the left of each group's tool: along its line, as the way goes."""
    run = groups.runs()
    scatter = _scatter(groups)
    motion = _motion(groups, groups.mean(groups.xy))
    # Where a single section is listed, only the way tells the direction: a whisper of it.
    side = 1e-4 * np.column_stack([-motion[:, 1], motion[:, 0]])
    scatter += np.column_stack([side[:, 0] ** 2, side[:, 0] * side[:, 1], side[:, 1] ** 2])
    whole = scatter.copy()
    for lag in (1, 2):
        same = (run[lag:] == run[:-lag])[:, None]
        whole[lag:] += _NEIGHBOURS * np.where(same, scatter[:-lag], 0.0)
        whole[:-lag] += _NEIGHBOURS * np.where(same, scatter[lag:], 0.0)
    axis = _long_axis(whole)
    ahead = axis[:, 1] * motion[:, 0] - axis[:, 0] * motion[:, 1]
    left = np.where(ahead < 0, -1.0, 1.0)[:, None] * axis
    # A tool that stands points as it did before.
    moving = np.abs(ahead) > _STANDING * np.median(np.abs(ahead))
    last = np.maximum.accumulate(np.where(moving, np.arange(len(ahead)), 0))
    against = np.einsum("ij,ij->i", left, left[last]) < 0
    return np.where(against[:, None], -left, left)


def _sections(groups: _Groups, left: FloatArray) -> IntArray | None:
    """Sections by their places from the left, whatever sections a time leaves out.

    Between one fix and the next a tool moves forward, so the first point listed moves sideways
    by as many spacings as the sections that came in before it or went.
    """
    offset = -np.einsum("ij,ij->i", groups.xy, left[groups.of])  # growing to the right
    order = np.lexsort((offset, groups.of))
    step = np.diff(offset[order], prepend=0.0)
    inner = np.ones(len(step), dtype=bool)
    inner[groups.first] = False
    if not inner.any():
        return None
    spacing = float(np.median(step[inner]))
    if spacing <= 0:
        return None
    places = step / spacing
    even = np.abs(places - np.rint(places)) < _OFF_PLACE
    section = np.zeros(len(step), dtype=np.int64)
    if even[inner].mean() < 1 - _STRAY:
        size = groups.size
        if (size == size.max()).mean() < 1 - _STRAY:
            return None
        section[order] = np.arange(len(step)) - np.repeat(groups.first, size)
        return section
    rank = np.where(inner, np.rint(places), 0.0)
    rank = np.cumsum(rank) - np.repeat(np.cumsum(rank)[groups.first], groups.size)
    reach = np.maximum.reduceat(rank, groups.first)
    head = groups.xy[order][groups.first]
    middle = _unit(left[1:] + left[:-1])
    sideways = -np.einsum("ij,ij->i", np.diff(head, axis=0), middle) / spacing
    moved = np.concatenate([[0.0], np.cumsum(np.rint(sideways))])
    run = groups.runs()
    count = np.arange(len(reach))
    full = reach == reach.max()
    last = np.maximum.accumulate(np.where(full, count, -1))
    coming = np.minimum.accumulate(np.where(full, count, len(count))[::-1])[::-1]
    start = np.searchsorted(run, run, side="left")
    anchor = np.where(last >= start, last, coming)
    lone = (anchor >= len(count)) | (run[np.minimum(anchor, len(count) - 1)] != run)
    anchor = np.where(lone, start, anchor)
    leading = moved - moved[anchor]
    least = np.minimum.reduceat(leading, np.flatnonzero(np.diff(run, prepend=-1)))[run]
    leading = np.where(lone, leading - least, leading)
    leading = np.clip(leading, 0, reach.max() - reach)
    section[order] = (np.repeat(leading, groups.size) + rank).astype(np.int64)
    return section


def _spacing(groups: _Groups, section: IntArray, offset: FloatArray) -> FloatArray:
    """Middle to middle of neighbouring sections: the usual one over the times that list both."""
    order = np.lexsort((section, groups.of))
    own, place, group = section[order], offset[order], groups.of[order]
    beside = (np.diff(group) == 0) & (np.diff(own) == 1)
    apart = pd.Series(-np.diff(place)[beside]).groupby(own[:-1][beside]).median()
    whole = apart.reindex(np.arange(section.max()))
    return whole.fillna(apart.median() if len(apart) else np.nan).to_numpy(dtype=float)
