"""Fixes on one clock, joined from the sentences a receiver writes for each of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenacre.io.common import fix_quality as fix
from evenacre.io.common.years import YEARS, days_since_1970
from evenacre.io.logs.formats.nmea.sentences import Sentences
from evenacre.model import FloatArray, IntArray

_KNOT_MPS = 1852.0 / 3600.0  # NIST SP 811
_DEGREE_M = 111_195.0  # of latitude on a sphere of the mean radius
_APART_M = 1.0
_DAY_S = 86400.0
# Mode letters of RMC and GNS from the best fix to none.
_MODES = {
    "R": fix.RTK_FIXED,
    "F": fix.RTK_FLOAT,
    "P": fix.PRECISE,
    "D": fix.DIFFERENTIAL,
    "A": fix.AUTONOMOUS,
    "E": fix.ESTIMATED,
    "M": fix.TYPED_IN,
    "S": fix.SIMULATED,
    "N": fix.NO_FIX,
}
_FIELD = {"GGA": (1, 2, 4), "GNS": (1, 2, 4), "RMC": (1, 3, 5)}  # time, latitude, longitude


@dataclass(frozen=True)
class Epochs:
    """Fixes in the order of the file."""

    # (n,) Seconds since 1970-01-01 UTC; since the first midnight of the log when not ``dated``
    time_s: FloatArray
    dated: bool
    # (n,) Degrees; NaN where there was no fix
    lon: FloatArray
    lat: FloatArray
    quality: IntArray  # (n,) kinds of :mod:`evenacre.io.common.fix_quality`
    # (n,) Standard deviation of one axis as the receiver itself gives it (GST); NaN where not told
    sigma_m: FloatArray
    hdop: FloatArray  # (n,) horizontal dilution of precision; NaN where not told
    step_m: FloatArray  # (n,) what one unit of the last written digit of latitude amounts to
    # (n,) NaN where not told
    speed_mps: FloatArray
    course_rad: FloatArray
    untimed: int  # sentences left out because they tell no time
    refused: int  # fixes whose place was left out because the receiver had none
    apart: int  # fixes of which two sentences tell places more than a metre apart

    def __len__(self) -> int:
        return len(self.time_s)


def join_epochs(kinds: dict[str, Sentences], day: date | None) -> Epochs:
    """Join what the sentences of a log say of each moment.

    The place and the quality come from GGA, else from GNS, else from RMC; speed and course from
    RMC, else from the VTG that follows. Sentences belong together when they tell the same time;
    where a receiver leaves out the fractions of a second, the first with the first. ``day`` is
    the date (UTC) of the first sentence, for logs that tell none.
    """
    read = pd.concat([_fixes(kinds[kind], kind) for kind in _FIELD])
    timed = read[np.isfinite(read["second"])].sort_values("place", ignore_index=True)
    time_s, dated = _date_times(timed["place"].to_numpy(), timed["second"].to_numpy(), kinds, day)
    # The n-th sentence of a kind and talker at one time belongs to the n-th fix at that time.
    nth = timed.groupby([time_s, "rank", "talker"], sort=False).cumcount()
    epoch = timed.groupby([time_s, nth], sort=False).ngroup().to_numpy()
    chosen = _best(epoch, timed)
    best = timed.iloc[chosen]
    speed, course = _motion(timed, epoch, len(best), kinds["VTG"])
    quality = best["quality"].to_numpy()
    lost = quality == fix.NO_FIX
    return Epochs(
        time_s=time_s[chosen],
        dated=dated,
        lon=np.where(lost, np.nan, best["lon"]),
        lat=np.where(lost, np.nan, best["lat"]),
        quality=quality,
        sigma_m=_own_sigma_m(best, kinds["GST"]),
        hdop=best["hdop"].to_numpy(),
        step_m=best["step_m"].to_numpy(),
        speed_mps=speed,
        course_rad=course,
        untimed=len(read) - len(timed),
        refused=int(lost.sum()),
        apart=_apart(epoch, timed, best),
    )


def _fixes(sentences: Sentences, kind: str) -> pd.DataFrame:
    """Sentences of one kind that tell a place, before they are joined."""
    time, lat, lon = _FIELD[kind]
    if kind == "GGA":
        told = sentences.numbers(6)
        known = (told >= fix.NO_FIX) & (told <= fix.SIMULATED)
        quality = np.where(known, told, fix.NOT_TOLD).astype(np.int64)
    else:
        quality = _mode_quality(sentences, kind)
    rmc = kind == "RMC"
    return pd.DataFrame(
        {
            "rank": list(_FIELD).index(kind),
            "place": sentences.place,
            "second": _second_of_day(sentences.numbers(time)),
            "lon": _degrees(sentences, lon, "W", 180.0),
            "lat": _degrees(sentences, lat, "S", 90.0),
            "quality": quality,
            "hdop": np.nan if rmc else sentences.numbers(8),
            "step_m": _step_m(sentences.letters(lat)),
            "speed_mps": sentences.numbers(7) * _KNOT_MPS if rmc else np.nan,
            "course_rad": _course(sentences.numbers(8)) if rmc else np.nan,
            "talker": sentences.talker,
        }
    )


def _own_sigma_m(fixes: pd.DataFrame, gst: Sentences) -> FloatArray:
    """What GST says of the fix of its time that stands nearest, as the mean of both axes."""
    both = np.hypot(gst.numbers(6), gst.numbers(7)) / np.sqrt(2.0)
    second = _second_of_day(gst.numbers(1))
    told = pd.DataFrame({"place": gst.place, "second": second, "sigma_m": both})
    told = told[np.isfinite(second) & (both > 0)]
    own = fixes[["place", "second"]].assign(row=np.arange(len(fixes))).sort_values("place")
    joined = pd.merge_asof(own, told, on="place", by="second", direction="nearest")
    return joined.sort_values("row")["sigma_m"].to_numpy(dtype=float)


def _mode_quality(sentences: Sentences, kind: str) -> IntArray:
    """Quality by the mode letters; a warning status of RMC is no fix."""
    letters, which = np.unique(sentences.letters(6 if kind == "GNS" else 12), return_inverse=True)
    # A letter a satellite system: the place is as good as the best of them.
    kinds = [next((q for m, q in _MODES.items() if m in text), fix.NOT_TOLD) for text in letters]
    quality = np.array([*kinds, 0], dtype=np.int64)[which]
    if kind == "RMC":
        quality = np.where(sentences.letters(2) == "A", quality, fix.NO_FIX)
    return np.asarray(quality)


def _degrees(sentences: Sentences, number: int, negative: str, most: float) -> FloatArray:
    """Degrees from ddmm.mmmm and the letter behind it."""
    value = sentences.numbers(number)
    minutes = value % 100
    degrees = (value - minutes) / 100 + minutes / 60
    degrees = np.where((value >= 0) & (minutes < 60) & (degrees <= most), degrees, np.nan)
    return np.where(sentences.letters(number + 1) == negative, -degrees, degrees)


def _step_m(latitude: npt.NDArray[np.str_]) -> FloatArray:
    """Resolution of latitudes by the number of their decimals."""
    size = np.strings.str_len(latitude)
    point = np.strings.find(latitude, ".")
    decimals = np.where(point < 0, 0, size - 1 - point)
    return np.asarray(_DEGREE_M / 60 / 10.0**decimals, dtype=float)


def _course(degrees: FloatArray) -> FloatArray:
    return np.radians(np.where((degrees >= 0) & (degrees <= 360), degrees % 360, np.nan))


def _best(epoch: IntArray, fixes: pd.DataFrame) -> IntArray:
    """Sentence each epoch takes its place from: by kind, then the first with a place."""
    lost = (fixes["quality"] == fix.NO_FIX) | fixes["lon"].isna() | fixes["lat"].isna()
    order = np.lexsort((lost, fixes["rank"], epoch))
    return order[np.diff(epoch[order], prepend=-1) != 0]


def _apart(epoch: IntArray, fixes: pd.DataFrame, best: pd.DataFrame) -> int:
    """Count the epochs whose sentences tell places that rounding does not explain."""
    own = best.iloc[epoch].set_axis(fixes.index)
    north = (fixes["lat"] - own["lat"]) * _DEGREE_M
    east = (fixes["lon"] - own["lon"]) * _DEGREE_M * np.cos(np.radians(fixes["lat"]))
    told = (fixes["quality"] != fix.NO_FIX) & (own["quality"] != fix.NO_FIX)
    far = told & (np.hypot(north, east) > _APART_M + fixes["step_m"] + own["step_m"])
    return len(np.unique(epoch[far]))


def _motion(
    fixes: pd.DataFrame, epoch: IntArray, epochs: int, vtg: Sentences
) -> tuple[FloatArray, FloatArray]:
    """Speed and course of each epoch: from VTG, and over it from RMC."""
    speed, course = np.full(epochs, np.nan), np.full(epochs, np.nan)
    if len(fixes):
        # VTG tells no time: it goes with the fix before it.
        own = epoch[(np.searchsorted(fixes["place"], vtg.place) - 1).clip(min=0)]
        knots, km_per_hour = vtg.numbers(5), vtg.numbers(7)
        told = np.where(np.isfinite(knots), knots * _KNOT_MPS, km_per_hour / 3.6)
        _lay(speed, own, told)
        _lay(course, own, _course(vtg.numbers(1)))
    _lay(speed, epoch, fixes["speed_mps"].to_numpy())
    _lay(course, epoch, fixes["course_rad"].to_numpy())
    return speed, course


def _lay(target: FloatArray, where: IntArray, values: FloatArray) -> None:
    known = np.isfinite(values)
    target[where[known]] = values[known]


def _second_of_day(hhmmss: FloatArray) -> FloatArray:
    """Seconds since midnight of times written as hhmmss.sss; NaN for what is none."""
    whole = np.floor(hhmmss)
    hours, minutes, seconds = whole // 10_000, whole // 100 % 100, hhmmss - whole // 100 * 100
    good = (hhmmss >= 0) & (hours < 24) & (minutes < 60) & (seconds < 61)
    # Receivers write no finer than thousandths: rounding takes off what the sum of floats adds.
    return np.where(good, np.round(hours * 3600 + minutes * 60 + seconds, 6), np.nan)


def _date_times(
    place: IntArray, second: FloatArray, kinds: dict[str, Sentences], day: date | None
) -> tuple[FloatArray, bool]:
    """Put sentences on one clock, from their times of day and the dates told between them.

    Places in the file grow. Times count from 1970-01-01 UTC, or from the first midnight when no
    date is known.
    """
    known_place, known_s = _known_dates(kinds)
    both = np.concatenate([second, known_s % _DAY_S])
    order = np.argsort(np.concatenate([place, known_place]), kind="stable")
    running = np.empty(len(both))
    running[order] = _past_midnights(both[order])
    running_s, known_running_s = running[: len(second)], running[len(second) :]
    if not len(known_place):
        first = 0.0 if day is None else (day - date(1970, 1, 1)).days * _DAY_S
        return running_s + first, day is not None
    # Of the dates before and behind, the one told nearer in time: a night between two days of
    # work shows in neither the times of day nor their order.
    after = np.searchsorted(known_place, place).clip(max=len(known_place) - 1)
    before = (np.searchsorted(known_place, place, side="right") - 1).clip(min=0)
    to_after = np.abs(known_running_s[after] - running_s)
    told = np.where(to_after < np.abs(known_running_s[before] - running_s), after, before)
    days = np.round((known_s - known_running_s)[told] / _DAY_S)
    return running_s + days * _DAY_S, True


def _past_midnights(second: FloatArray) -> FloatArray:
    """Let times of day run on over midnight."""
    return second - np.cumsum(np.round(np.diff(second, prepend=second[:1]) / _DAY_S)) * _DAY_S


def _known_dates(kinds: dict[str, Sentences]) -> tuple[IntArray, FloatArray]:
    """Sentences that tell a date: where they stand and their time since 1970."""
    rmc, zda = kinds["RMC"], kinds["ZDA"]
    written = rmc.numbers(9)
    day, month, year = written // 10_000, written // 100 % 100, written % 100
    # Satellite positioning is younger than 1980, so two digits are enough.
    rmc_s = _midnight(day, month, np.where(year < 80, 2000 + year, 1900 + year))
    rmc_s += _second_of_day(rmc.numbers(1))
    zda_s = _midnight(zda.numbers(2), zda.numbers(3), zda.numbers(4))
    zda_s += _second_of_day(zda.numbers(1))
    sure = np.isfinite(rmc_s) & (rmc.letters(2) == "A")
    if not sure.any() and not np.isfinite(zda_s).any():
        sure = np.isfinite(rmc_s)  # a receiver without a fix may still keep its clock
    place = np.concatenate([rmc.place[sure], zda.place[np.isfinite(zda_s)]])
    known = np.concatenate([rmc_s[sure], zda_s[np.isfinite(zda_s)]])
    order = np.argsort(place)
    return place[order], known[order]


def _midnight(day: FloatArray, month: FloatArray, year: FloatArray) -> FloatArray:
    """Seconds from 1970 to the midnight that begins a day; NaN for what is no date."""
    good = (year >= 1980) & (year <= YEARS[1])
    return days_since_1970(np.where(good, year, np.nan), month, day) * _DAY_S
