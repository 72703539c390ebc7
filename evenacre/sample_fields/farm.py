"""Three Larks Farm itself: fields, needs, jobs. All of it is invented."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from shapely.geometry import LineString, Polygon

from evenacre.sample_fields.faults import (
    Blocked,
    Drift,
    Fault,
    LostLog,
    Offset,
    Patch,
    Refill,
    Restart,
    ShortEnd,
)
from evenacre.sample_fields.logbook import WIDTH_M
from evenacre.sample_fields.materials import COVER, FERTILIZER, MEADOW
from evenacre.sample_fields.plots import Ellipse, Plot

LB_PER_ACRE = 0.45359237 / 4046.8564224  # kg per m2, NIST SP 811
PADDOCK_X_M, PADDOCK_Y_M = 180.0, 179.86
Columns = Literal["towers", "whole", "rows"]


@dataclass(frozen=True)
class Cart:
    """How the cart was filled and weighed in one job.

    Attributes
    ----------
    fills_lb : dict of str to tuple of int
        What the tender was asked for, of each product: at the start and at each refill.
    looks : tuple of int
        Passes after which the load cells were read on the way.
    meter_reads : dict of str to float
        What the meter counts of each pound that goes out, where it is not a pound.
    """

    fills_lb: dict[str, tuple[int, ...]]
    looks: tuple[int, ...] = ()
    meter_reads: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Job:
    """One operation.

    Attributes
    ----------
    rates_lb_ac : dict of str to float
        Target of each product.
    by_tower : bool
        Towers switch one by one; otherwise the whole drill does.
    columns : str
        Which states the log holds: of towers, of the whole drill, or of rows.
    spacing_m : float
        Between neighbouring passes.
    cart : Cart or None
        None: nothing was weighed.
    """

    plot: Plot
    name: str
    slug: str
    start: str
    rates_lb_ac: dict[str, float]
    by_tower: bool
    columns: Columns
    faults: tuple[Fault, ...]
    spacing_m: float = WIDTH_M
    cart: Cart | None = None


def _waterway() -> Polygon:
    """A grass waterway, 9 m wide, winding from the top of the field to the bottom."""
    down = np.linspace(335.0, -20.0, 60)
    across = 165.0 + 0.38 * (315.0 - down) + 9.0 * np.sin(down / 45.0)
    return LineString(np.column_stack((across, down))).buffer(4.5, cap_style="flat")


ORCHARD = Plot(
    name="Orchard Piece",
    slug="orchard-piece",
    lon=-93.2140,
    lat=40.0120,
    rotation_deg=2.5,
    corners=((0.0, 0.0), (410.0, 0.0), (410.0, 295.0), (0.0, 295.0)),
    radii_m=(15.0,) * 4,
    sharp=(3,),
    soils=(
        ("silt loam", ((150.0, -50.0), (170.0, 90.0), (130.0, 200.0), (185.0, 350.0))),
        ("clay loam", ((330.0, -50.0), (300.0, 120.0), (345.0, 350.0))),
        ("loam", ()),
    ),
)
BRANCH = Plot(
    name="Branch Bottom",
    slug="branch-bottom",
    lon=-93.2065,
    lat=40.0035,
    rotation_deg=-6.0,
    corners=(
        (0.0, 0.0),
        (420.0, 0.0),
        (420.0, 150.0),
        (235.0, 150.0),
        (235.0, 315.0),
        (0.0, 315.0),
    ),
    radii_m=(15.0, 15.0, 15.0, 8.0, 15.0, 15.0),
    waterway=_waterway(),
    soils=(
        ("bottom silt", ((120.0, -50.0), (140.0, 60.0), (95.0, 170.0), (110.0, 370.0))),
        ("sandy loam", ()),
    ),
    well=(428.0, 60.0),
)
KILN = Plot(
    name="Kiln Hill",
    slug="kiln-hill",
    lon=-93.1935,
    lat=40.0085,
    rotation_deg=24.0,
    corners=(
        (0.0, 0.0),
        (370.0, -15.0),
        (455.0, 165.0),
        (335.0, 335.0),
        (70.0, 345.0),
        (-35.0, 160.0),
    ),
    radii_m=(15.0,) * 6,
    pile=Ellipse(x=190.0, y=178.0, half_x=16.0, half_y=12.0),
    soils=(
        ("ridge", ((110.0, -80.0), (80.0, 100.0), (120.0, 240.0), (90.0, 420.0))),
        ("side slope", ((290.0, -80.0), (330.0, 130.0), (270.0, 260.0), (300.0, 420.0))),
        ("foot slope", ()),
    ),
)
PASTURE_LON, PASTURE_LAT, PASTURE_ROTATION_DEG = -93.2045, 40.0185, 9.0


def _paddock(number: int) -> Plot:
    column, row = (number - 1) % 3, (number - 1) // 3
    x, y = column * PADDOCK_X_M, row * PADDOCK_Y_M
    far_x, far_y = x + PADDOCK_X_M, y + PADDOCK_Y_M
    return Plot(
        name=f"Long Pasture paddock {number}",
        slug=f"paddock-{number}",
        lon=PASTURE_LON,
        lat=PASTURE_LAT,
        rotation_deg=PASTURE_ROTATION_DEG,
        corners=((x, y), (far_x, y), (far_x, far_y), (x, far_y)),
        radii_m=(15.0,) * 4,
        sharp=(0, 1, 2, 3),
        soils=(
            ("upland", ((x + 70.0, -50.0), (x + 95.0, 160.0), (x + 75.0, 450.0))),
            ("draw", ()),
        ),
    )


def paddocks() -> list[Plot]:
    """The six paddocks of the pasture, in the order they are grazed."""
    return [_paddock(number) for number in range(1, 7)]


CROP_FIELDS = (ORCHARD, BRANCH, KILN)
SEEDED_PADDOCK = _paddock(4)

# What the soil tests asked for: field, zone, and lb/ac of each nutrient.
NEEDS: tuple[tuple[Plot, str, dict[str, float]], ...] = (
    (ORCHARD, "", {"N": 20, "P2O5": 50, "K2O": 48}),
    (BRANCH, "", {"P2O5": 50, "K2O": 48}),
    (BRANCH, "sandy loam", {"P2O5": 75}),
    (KILN, "", {"P2O5": 50}),
    (KILN, "ridge", {"P2O5": 40}),
)
COMPARTMENTS_BU = {"front": 180, "rear": 77}
DRILL_COST = "140 USD/h"
SEEDING_QUOTE = "20 USD/ac"

JOBS = (
    Job(
        ORCHARD,
        "Spring fertilizer",
        "orchard-fertilizer",
        "2026-04-14T13:20:00",
        FERTILIZER,
        by_tower=True,
        columns="towers",
        faults=(
            Offset(17, 0.6, "guidance held 0.6 m to one side for a pass"),
            ShortEnd(9, True, 4.0, "drill put down or lifted 4 m from the headland"),
            Blocked(30, 3, 100.0, 90.0),
            Refill(23, 300.0),
        ),
        cart=Cart({"18-46-0": (2140, 1260), "0-0-60": (1560, 900)}, looks=(13, 33)),
    ),
    Job(
        BRANCH,
        "Spring fertilizer",
        "branch-fertilizer",
        "2026-04-16T14:05:00",
        FERTILIZER,
        by_tower=False,
        columns="whole",
        faults=(
            Drift(1010.0, 130.0, 1.3, "first round ran wide of the fence"),
            Blocked(6, 1, 60.0, 60.0),
            Restart(33, 90.0),
            ShortEnd(12, False, 3.0, "drill put down or lifted 3 m from the headland"),
        ),
    ),
    Job(
        KILN,
        "Spring fertilizer",
        "kiln-fertilizer",
        "2026-04-18T12:40:00",
        FERTILIZER,
        by_tower=False,
        columns="whole",
        spacing_m=WIDTH_M - 0.05,
        faults=(
            ShortEnd(8, True, 5.0, "point row dropped only when the whole drill was in"),
            Offset(40, 0.5, "guidance held 0.5 m to one side for a pass"),
            Blocked(19, 4, 120.0, 45.0),
            Refill(26, 240.0),
        ),
        cart=Cart(
            {"18-46-0": (2760, 1420), "0-0-60": (1920, 1000)},
            looks=(10, 41),
            meter_reads={"18-46-0": 0.96},
        ),
    ),
    Job(
        SEEDED_PADDOCK,
        "Interseeding",
        "paddock-interseeding",
        "2026-08-28T13:45:00",
        MEADOW,
        by_tower=True,
        columns="towers",
        faults=(
            Offset(8, 0.4, "guidance held 0.4 m to one side for a pass"),
            Blocked(15, 2, 20.0, 40.0),
            ShortEnd(20, True, 3.5, "drill put down or lifted 3.5 m from the fence round"),
        ),
    ),
    Job(
        ORCHARD,
        "Cover-crop seeding",
        "orchard-cover",
        "2026-09-22T14:10:00",
        COVER,
        by_tower=False,
        columns="whole",
        faults=(
            Patch((22, 23), 80.0, 125.0, "wet hole driven over with the drill up"),
            LostLog(35, 120.0),
            Drift(30.0, 110.0, 1.2, "first round ran wide of the fence"),
        ),
    ),
    Job(
        BRANCH,
        "Cover-crop seeding",
        "branch-cover",
        "2026-09-24T13:30:00",
        COVER,
        by_tower=True,
        columns="rows",
        faults=(
            Offset(28, 0.45, "guidance held 0.45 m to one side for a pass"),
            ShortEnd(16, True, 5.0, "drill put down or lifted 5 m from the headland"),
        ),
    ),
    Job(
        KILN,
        "Cover-crop seeding",
        "kiln-cover",
        "2026-09-26T13:00:00",
        COVER,
        by_tower=True,
        columns="towers",
        faults=(
            Patch((13, 14, 15), 280.0, 320.0, "washed corner driven round with the drill up"),
            Blocked(36, 2, 60.0, 90.0),
            Restart(42, 70.0),
        ),
    ),
)
