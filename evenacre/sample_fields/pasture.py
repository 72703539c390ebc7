"""What the farm tells of its pasture: herd, round of paddocks, seeding behind the herd.

All of it is invented, the days of the label too. Forage is what stood on the first day of grazing.
"""

from __future__ import annotations

from collections.abc import Sequence

from evenacre.sample_fields.plots import Plot

FORAGE_LB_AC = (1600, 1650, 1550, 1500, 1600, 1750)
VALUE = (1.0, 1.2, 1.0, 1.5, 1.0, 0.8)

_ROUND = """\
[paddocks]
file = "fields.gpkg"
layer = "paddocks"
name_column = "name"

[grazing]
start = 2026-08-04
growth = "20 lb/ac/day"
forage_most = "3000 lb/ac"
utilization = 50
rest = "35 days"

[[herd]]
class = "cows"
head = 40
weight = "1200 lb"
intake = 2.6
"""

_SEEDING = """\
[seeding]
product = "meadow mix"
implement = "drill"
rate = "10 lb/ac"
rate_min = "9 lb/ac"
rate_max = "12 lb/ac"
on_hand = "420 lb"
opens_after = "1 day"
closes_after = "14 days"
residual = "5 in"
regrowth_limit = "5.5 in"
mass_per_height = "250 lb/ac/in"
first_day = 2026-08-15
last_day = 2026-09-20
from = "09:00"
to = "18:00"
hours = "6 h"
lost_days = [2026-08-19]
lost_chance = 25
booked = [
  { from = 2026-09-02, to = 2026-09-04, for = "a neighbor's oats" },
  { from = 2026-08-24, for = "cleaning out the cart", hours = "4 h" },
]
speed = "4.5 mph"
turn_radius = "24 ft"
setup = "20 min"
refill = "25 min"
load = "150 lb"
rest = "45 days"
withholding = "60 days"
rounds = 2
"""


def pasture_text(paddocks: Sequence[Plot]) -> str:
    """The pasture tables of the season file."""
    tables = [
        f'[[paddock]]\nname = "{plot.name}"\nforage = "{forage} lb/ac"\nvalue = {value:g}\n'
        for plot, forage, value in zip(paddocks, FORAGE_LB_AC, VALUE, strict=True)
    ]
    return "\n".join([_ROUND, *tables, _SEEDING])
