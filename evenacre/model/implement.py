"""The drill: its rows, its cart and the chain it is towed by."""

from __future__ import annotations

from dataclasses import dataclass, replace

from evenacre.model.implement_error import MEASURED, Doubt, SettingsError

_ROW_OF_UNKNOWN_M = 0.3


@dataclass(frozen=True)
class TowedUnit:
    """One unit of the tow chain.

    Examples
    --------
    >>> ev.TowedUnit(hitch_to_axle_m=5.0).axle_to_pin_m
    0.0
    """

    hitch_to_axle_m: float  # from the pin this unit is pulled by to its axle
    # From its axle back to the pin of the next unit (0: the next pin sits on the axle)
    axle_to_pin_m: float = 0.0


@dataclass(frozen=True)
class Compartment:
    """One bin of the cart, and what it holds when level full (m3)."""

    name: str
    volume_m3: float


@dataclass(frozen=True)
class Implement:
    """A drill: its rows and where its tool line rides relative to the antenna.

    Rows are numbered 1..n from the left as seen from the seat; each owns one row spacing.
    With no antenna or tow figures the logged positions are taken for the centre of the
    tool line.

    Examples
    --------
    >>> ev.Implement(width_m=6.096, rows=32, tow=(ev.TowedUnit(5.0),)).row_spacing_m
    0.1905
    """

    width_m: float  # full working width
    rows: int = 1  # number of rows across the width
    rows_known: bool = False  # False when the rows are only a subdivision chosen for the arithmetic
    rows_per_tower: int | None = None  # rows fed by one distribution tower
    # Rows in each switched section from the left; empty when sections are equal
    section_rows: tuple[int, ...] = ()
    # How far the antenna rides ahead of the puller's fixed (non-steering) axle
    axle_to_antenna_m: float = 0.0
    # Antenna ahead and left of the hitch pin
    antenna_ahead_m: float = 0.0
    antenna_left_m: float = 0.0
    tow: tuple[TowedUnit, ...] = ()  # the towed units from front to back; empty for a mounted tool
    # Tool line behind the last axle (or behind the hitch pin of a mounted tool)
    tool_behind_m: float = 0.0
    # Units towed behind the tool, front to back (a cart, say): they do not lead it
    behind: tuple[TowedUnit, ...] = ()
    tool_to_pin_m: float = 0.0  # from the last axle of ``tow`` back to the pin of the first of them
    transport_width_m: float | None = None  # folded, as it goes on the road; None: not told
    product_lag_s: float = 0.0  # from the meter to the opener
    compartments: tuple[Compartment, ...] = ()  # bins of the cart from front to back
    cost_per_s: float | None = None  # what its time costs, puller and driver included
    width_known: bool = True  # False while it is for the logs to tell
    error: SettingsError = MEASURED  # how far width, places and delay may be off
    # Of ``"behind"``, ``"left"`` and ``"lag"`` those that somebody said, be it 0; what is not 0
    # counts as said
    told: tuple[str, ...] = ()

    def of_width(self, width_m: float) -> Implement:
        """Return it with a width, and its sections subdivided where its rows are not known."""
        rows, section_rows = self.rows, self.section_rows
        if not self.rows_known:
            # Rows that are only a subdivision: about a foot each, and whole ones in a section.
            count = max(len(section_rows), 1)
            rows = count * max(1, round(width_m / count / _ROW_OF_UNKNOWN_M))
            section_rows = (rows // count,) * len(section_rows)
        return replace(
            self, width_m=width_m, width_known=True, rows=rows, section_rows=section_rows
        )

    @property
    def row_spacing_m(self) -> float:
        """Width owned by one row."""
        return self.width_m / self.rows

    @property
    def behind_m(self) -> float:
        """Tool line behind the antenna on a straight line."""
        pins = sum(unit.axle_to_pin_m for unit in self.tow[:-1])
        axles = sum(unit.hitch_to_axle_m for unit in self.tow)
        return self.antenna_ahead_m + axles + pins + self.tool_behind_m

    def tells(self, setting: str) -> bool:
        """Whether somebody told ``"behind"``, ``"left"`` or ``"lag"`` (see ``told``)."""
        figures = {
            "behind": (self.antenna_ahead_m, self.tool_behind_m, *self.tow),
            "left": (self.antenna_left_m,),
            "lag": (self.product_lag_s,),
        }
        return setting in self.told or any(figures[setting])

    def at_its_own_places(self) -> Implement:
        """The same drill where logged positions are those of the tool line itself."""
        return replace(
            self,
            axle_to_antenna_m=0.0,
            antenna_ahead_m=0.0,
            antenna_left_m=0.0,
            tow=(),
            tool_behind_m=0.0,
            behind=(),
            tool_to_pin_m=0.0,
            error=replace(self.error, behind_m=Doubt(), left_m=Doubt()),
        )

    def tower_rows(self, tower: int) -> tuple[int, ...]:
        """Row numbers fed by a tower (both counted from 1 at the left)."""
        if not self.rows_per_tower:
            raise ValueError("the implement has no towers")
        first = (tower - 1) * self.rows_per_tower + 1
        return tuple(range(first, min(first + self.rows_per_tower, self.rows + 1)))
