"""Measured columns of a log in SI units: width, distance, speed, rates and the rest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from evenacre.errors import InputError
from evenacre.geo.local_crs import WorkingPlane
from evenacre.geo.pass_spacing import pass_spacing_m
from evenacre.io.common.findings import Findings
from evenacre.io.logs.columns.column_roles import DIMENSIONS, ColumnPlan, ColumnUse, other_unit
from evenacre.io.logs.columns.width_unit import width_units
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import UNDATED_S, FloatArray, Track
from evenacre.units.parsing import Dimension, example_unit, unit_factor

_SETTLED_WITHIN = 0.05
_AGREEING_RATES = 0.02
_WIDEST_M = 100.0
# Far beyond any drill (m/s, m, s, kg/m2, kg/s and kg), and too little to be anything at all.
_MOST = {
    "speed": 1e3,
    "distance": 1e6,
    "interval": UNDATED_S,
    "rate": 50.0,
    "flow": 1e3,
    "mass": 1e5,
}
_NOTHING = 1e-15
# Units told apart by holding the log against its own positions.
_CANDIDATES = {
    "distance": ("m", "ft", "in", "cm", "mm"),
    "speed": ("m/s", "mph", "km/h", "kn", "ft/s"),
}
# Passes lie so far apart as a tool is wide, give or take so much of it.
_BESIDE = 0.2
Paces = tuple[FloatArray, FloatArray]


def with_measures(
    track: Track, table: RecordTable, plan: ColumnPlan, paces: Paces, findings: Findings
) -> Track:
    """Add every measured column to a track.

    Parameters
    ----------
    paces : ((n,), (n,)) float
        Step (m) and time (s) of each record since the last, from positions and times; they
        settle the units of distance and speed that have none.

    Raises
    ------
    InputError
        When a column the person named has no unit and none can be told.
    """
    reader = _MeasureReader(table, plan, paces, findings, track.time_s, track.lon, track.lat)
    flows, interval_s = reader.amounts("flow"), reader.plain("interval")
    if masses := reader.amounts("mass"):
        # A flow counts for the time that its record says it covers: any time gives the mass back.
        known = paces[1][paces[1] > 0]
        usual_s = float(np.median(known)) if known.size else 1.0
        stated = np.zeros(len(track)) if interval_s is None else interval_s
        interval_s = np.where(stated > 0, stated, usual_s)
        flows = {name: mass / interval_s for name, mass in masses.items()} | flows
    return replace(
        track,
        width_m=reader.width(),
        distance_m=reader.distance(),
        interval_s=interval_s,
        speed_mps=reader.plain("speed"),
        heading_rad=reader.heading(),
        rates=reader.amounts("rate"),
        flows=flows,
    )


def read_lengths(
    table: RecordTable, plan: ColumnPlan, findings: Findings
) -> tuple[FloatArray | None, FloatArray | None]:
    """Width and distance columns alone (m), for records whose order is not yet known."""
    unknown = np.full(len(table), np.nan)
    none = (unknown,) * 3
    reader = _MeasureReader(table, plan, (unknown, unknown), findings, *none)
    return reader.width(), reader.plain("distance")


@dataclass(frozen=True)
class _MeasureReader:
    table: RecordTable
    plan: ColumnPlan
    paces: Paces
    findings: Findings
    time_s: FloatArray
    lon: FloatArray
    lat: FloatArray

    def plain(self, role: str) -> FloatArray | None:
        """Possible values of a role, in SI."""
        use = self.plan.get(role)
        values = None if use is None else self._si(use)
        return None if use is None or values is None else self._possible(values, use)

    def width(self) -> FloatArray | None:
        use = self.plan.get("width")
        values = None if use is None else self._si(self._in_unit_that_fits(use))
        if use is None or values is None:
            return None
        values = self._possible(values, use)
        widest = np.nanmax(values, initial=0.0)
        if widest > _WIDEST_M:
            fitting = next(iter(self._widths(use)), "in")
            remedy = tr(
                "Give the right unit, such as --column 'width={column} [{fitting}]', or",
                column=use.column,
                fitting=fitting,
            )
            if read_header(use.column).unit(DIMENSIONS["width"]) is not None:
                remedy = tr("Correct the column, or its unit if that is what is wrong, or give")
            raise self.table.error(
                tr('column "{column}"', column=use.column),
                tr("a swath {widest:,.0f} m wide cannot be right.", widest=widest),
                tr("{remedy} --column width= to leave it out.", remedy=remedy),
            )
        return values

    def _in_unit_that_fits(self, use: ColumnUse) -> ColumnUse:
        """Let a width without a unit be in that which fits the passes, or the distances driven."""
        header = read_header(use.column)
        if header.unit(Dimension.LENGTH) is not None or header.stated_unit or use.asked:
            return use
        widest, fitting = width_units(self.table, use.column)
        if len(fitting) < 2:
            return use
        factors = {name: unit_factor(name, Dimension.LENGTH) or 0.0 for name in fitting}
        spacing_m = self._spacing_m()
        beside = [n for n in fitting if spacing_m and _is_beside(widest * factors[n], spacing_m)]
        moved = self.plan.get("distance")
        guess = tr("{about} has no unit; ", about=self.table.about(use.column))
        if len(beside) == 1:
            unit = factors[beside[0]]
            told = tr(
                "{guess}it is taken as {beside}, as passes lie {spacing:.1f} m apart.",
                guess=guess,
                beside=beside[0],
                spacing=spacing_m,
            )
            say = self.findings.note
        elif moved is not None and moved.unit is None:
            steps = self.table.numbers(moved.column, moved.meaning, Findings())
            settled = replace(self, findings=Findings())._settled(moved, steps)
            if settled is None or settled == use.unit or settled not in factors.values():
                return use
            unit, say = settled, self.findings.warn
            told = tr(
                '{guess}it is taken to be in that of column "{column}", as that fits the '
                "positions.",
                guess=guess,
                column=moved.column,
            )
        else:
            return use
        for said in (self.findings.notes, self.findings.warnings):
            said[:] = [text for text in said if not text.startswith(guess)]
        say(told)
        return replace(use, unit=unit)

    def _spacing_m(self) -> float | None:
        """How far apart passes lie, by the positions that steps are known of."""
        known = np.isfinite(self.paces[1]) & np.isfinite(self.lon) & np.isfinite(self.lat)
        if not known.any():
            return None
        lon, lat = self.lon[known], self.lat[known]
        plane = WorkingPlane(float(np.median(lon)), float(np.median(lat)))
        order = np.argsort(self.time_s[known], kind="stable")
        x, y = plane.xy(lon, lat)
        return pass_spacing_m(x[order], y[order])

    def _widths(self, use: ColumnUse) -> list[str]:
        """Units in which a tool may be as wide as a column says."""
        return width_units(self.table, use.column)[1]

    def distance(self) -> FloatArray | None:
        """Distance since the last record; a running total is turned into steps first."""
        use = self.plan.get("distance")
        values = None if use is None else self._si(use)
        if use is None or values is None:
            return None
        known = values[np.isfinite(values)]
        growing = len(known) >= 30 and (np.diff(known) >= 0).all()
        if growing and len(np.unique(known)) > len(known) / 4:
            self.findings.note(
                tr(
                    "{about} only grows, so it is taken as a running total and its "
                    "differences as the distance of each record.",
                    about=self.table.about(use.column),
                )
            )
            return np.diff(values, prepend=values[:1])
        return self._possible(values, use)

    def heading(self) -> FloatArray | None:
        """Heading clockwise from north, in radians from 0 to 2 pi."""
        use = self.plan.get("heading")
        if use is None:
            return None
        if not use.asked and not self.table.holds_numbers(use.column):
            self.findings.note(
                tr("{about} holds no headings in numbers.", about=self.table.about(use.column))
            )
            return None
        values = self.table.numbers(use.column, "heading", self.findings)
        if use.unit is None:
            values = np.radians(values)
        return np.asarray(np.mod(values, 2 * np.pi), dtype=float)

    def amounts(self, role: str) -> dict[str, FloatArray]:
        """Rates or flows by product; a second column of the same one is compared, not added."""
        amounts: dict[str, FloatArray] = {}
        for use in self.plan.all(role):
            values = self._si(use)
            if values is None:
                continue
            values = self._possible(values, use)
            first = amounts.setdefault(use.key, values)
            if first is values:
                continue
            about = self.table.about(use.column)
            off = np.abs(values - first) > _AGREEING_RATES * np.maximum(np.abs(first), 1e-12)
            if off.any():
                self.findings.warn(
                    tr(
                        "{about} gives another {role} than the column before it in "
                        "{records}; the first column is used.",
                        about=about,
                        role=role,
                        records=trn("{count:,} record", "{count:,} records", off.sum()),
                    )
                )
            else:
                self.findings.note(
                    tr("{about} repeats the {role} in another unit.", about=about, role=role)
                )
        return amounts

    def _si(self, use: ColumnUse) -> FloatArray | None:
        """Values in SI; None for a guessed column that cannot be used."""
        try:
            values = self.table.numbers(use.column, use.meaning, self.findings)
        except InputError as error:
            if use.asked or use.role not in ("speed", "distance", "interval"):
                raise
            problem = error.problems[0]
            self.findings.warn(
                tr(
                    "{file}, {place}: {what} It is not used.",
                    file=problem.file,
                    place=problem.place,
                    what=problem.what,
                )
            )
            return None
        about, unit = self.table.about(use.column), use.unit
        if unit is None and (stated := read_header(use.column).stated_unit):
            what, remedy = other_unit(use.column, stated, use.role)
            if use.asked:
                raise self.table.error(tr('column "{column}"', column=use.column), what, remedy)
            self.findings.warn(
                tr(
                    "{about} looks like a {meaning}; {what} {remedy}",
                    about=about,
                    meaning=use.meaning,
                    what=what,
                    remedy=remedy,
                ),
                not_used=use.role,
            )
            return None
        if unit is None and use.role == "interval":
            self.findings.note(tr("{about} has no unit and is taken as seconds.", about=about))
            unit = 1.0
        if unit is None and use.role in _CANDIDATES:
            unit = self._settled(use, values)
        if unit is not None:
            return values * unit
        example, key = example_unit(DIMENSIONS[use.role]), f":{use.key}" if use.key else ""
        if use.role == "width":
            example = next(iter(self._widths(use)), example)
        call = f"--column '{use.role}{key}={use.column} [{example}]'"
        if use.asked:
            raise self.table.error(
                tr('column "{column}"', column=use.column),
                tr(
                    "the {meaning} has no unit, and none can be told from the log.",
                    meaning=use.meaning,
                ),
                tr("Name the column with its unit, such as {call}.", call=call),
            )
        self.findings.warn(
            tr(
                "{about} looks like a {role} but has no unit, so it is not used. To use it, "
                "give {call}.",
                about=about,
                role=use.role,
                call=call,
            ),
            not_used=use.role,
        )
        return None

    def _settled(self, use: ColumnUse, values: FloatArray) -> float | None:
        """Find the unit of a distance or speed by holding it against the positions."""
        step, seconds = self.paces
        truth = step if use.role == "distance" else step / np.where(seconds > 0, seconds, np.nan)
        ratios = truth / np.where(values > 0, values, np.nan)
        ratios = ratios[np.isfinite(ratios) & (ratios > 0)]
        if len(ratios) < 10:
            return None
        ratio = float(np.median(ratios))
        for name in _CANDIDATES[use.role]:
            factor = unit_factor(name, DIMENSIONS[use.role])
            if factor is not None and abs(ratio / factor - 1) < _SETTLED_WITHIN:
                self.findings.note(
                    tr(
                        "{about} has no unit; it is taken as {role} in {name} because that "
                        "fits the positions.",
                        about=self.table.about(use.column),
                        role=use.role,
                        name=name,
                    )
                )
                return factor
        return None

    def _possible(self, values: FloatArray, use: ColumnUse) -> FloatArray:
        """Take what no drill can have done as missing."""
        for wild, what in (
            (values < 0, "below zero"),
            (values > _MOST.get(use.role, np.inf), "too large to be true"),
        ):
            if wild.any():
                self.findings.warn(
                    tr(
                        '{file}: {values} {what} in column "{column}" ({meaning}), taken as '
                        "missing; the first is at {first}.",
                        file=self.table.file,
                        values=trn("{count:,} value", "{count:,} values", wild.sum()),
                        what=what,
                        column=use.column,
                        meaning=use.meaning,
                        first=self.table.first(wild),
                    )
                )
                values = np.where(wild, np.nan, values)
        return np.where(values < _NOTHING, 0.0, values)


def _is_beside(width_m: float, spacing_m: float) -> bool:
    """Whether passes of a tool so wide may lie so far apart."""
    return abs(spacing_m / width_m - 1) < _BESIDE
