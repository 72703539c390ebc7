"""The season file of the sample farm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from evenacre.sample_fields.chain import Rig
from evenacre.sample_fields.farm import (
    COMPARTMENTS_BU,
    CROP_FIELDS,
    DRILL_COST,
    JOBS,
    NEEDS,
    SEEDED_PADDOCK,
    SEEDING_QUOTE,
    Job,
    paddocks,
)
from evenacre.sample_fields.faults import Blocked
from evenacre.sample_fields.logbook import WIDTH_M
from evenacre.sample_fields.materials import FERTILIZER, MATERIALS
from evenacre.sample_fields.pasture import pasture_text
from evenacre.sample_fields.plots import Plot
from evenacre.sample_fields.receiver import DELAY_S
from evenacre.sample_fields.tickets import TICKETS

_HEAD = """\
# Three Larks Farm is invented: its fields, its machine and its season were made by a script.
farm = "Three Larks Farm"
units = "us"
currency = "USD"
time_zone = "America/Chicago"
"""


def season_text(rig: Rig, logs: Mapping[str, Sequence[str]], left_lb: Mapping[str, int]) -> str:
    """The season file, given the log files of each job and what the shed held in the end."""
    parts = [_HEAD]
    for material in MATERIALS:
        lines = ["[[product]]", f'name = "{material.name}"']
        if material.analysis:
            label = ", ".join(f"{key} = {value:g}" for key, value in material.analysis.items())
            lines.append(f"analysis = {{ {label} }}")
        lines += [f'price = "{material.price}"', *material.details]
        if material.bought_lb is not None:
            lines += [
                f'bought = "{material.bought_lb} lb"',
                f'left = "{left_lb[material.name]} lb"',
            ]
        parts.append("\n".join([*lines, ""]))
    parts.append(_implement(rig))
    parts += [_field(plot) for plot in (*CROP_FIELDS, SEEDED_PADDOCK)]
    parts += [_operation(job, logs[job.slug]) for job in JOBS]
    parts += [_need(*need) for need in NEEDS]
    parts.append(pasture_text(paddocks()))
    return "\n".join(parts)


def _implement(rig: Rig) -> str:
    bins = ", ".join(
        f'{{ name = "{name}", volume = "{bushels} bu" }}'
        for name, bushels in COMPARTMENTS_BU.items()
    )
    return f"""\
[[implement]]
name = "drill"
width = "{WIDTH_M / 0.3048:g} ft"
rows = 32
rows_per_tower = 8
sections = [8, 8, 8, 8]
axle_to_antenna = "{rig.antenna_ahead_of_axle_m:g} m"
antenna_ahead = "{rig.antenna_ahead_of_axle_m + rig.pin_behind_axle_m:g} m"
antenna_left = "0 m"
tow = [ {{ hitch_to_axle = "{rig.hitch_to_axle_m:g} m" }} ]
tool_behind = "{rig.tool_behind_m:g} m"
delay = "{DELAY_S:g} s"
compartments = [ {bins} ]
cost = "{DRILL_COST}"
"""


def _need(plot: Plot, zone: str, rates_lb_ac: Mapping[str, float]) -> str:
    lines = ["[[need]]", f'field = "{plot.name}"']
    if zone:
        lines.append(f'zone = "{zone}"')
    lines += [f'{nutrient} = "{rate:g} lb/ac"' for nutrient, rate in rates_lb_ac.items()]
    return "\n".join([*lines, ""])


def _field(plot: Plot) -> str:
    where = f'where = {{ name = "{plot.name}" }}'
    layer = "paddocks" if plot is SEEDED_PADDOCK else "boundaries"
    lines = [
        "[[field]]",
        f'name = "{plot.name}"',
        f'boundary = {{ file = "fields.gpkg", layer = "{layer}", {where} }}',
    ]
    if plot.unworkable is not None:
        field = f'where = {{ field = "{plot.name}" }}'
        lines.append(f'unworkable = {{ file = "fields.gpkg", layer = "unworkable", {field} }}')
    lines.append(f'zones = {{ file = "zones/{plot.slug}.geojson", name_column = "zone" }}')
    if plot.well is not None:
        lines.append('setbacks = { file = "wells.geojson", distance = "100 ft" }')
    return "\n".join([*lines, ""])


def _operation(job: Job, logs: Sequence[str]) -> str:
    columns = {"time": "UTC time", "lon": "Longitude", "lat": "Latitude", "work": "Work state"}
    columns["speed"] = "Speed (mph)"
    if job.columns != "whole":
        columns["heading"] = "Course (deg)"
    if job.columns == "towers":
        columns |= {f"section:{n}": f"Tower {n}" for n in range(1, 5)}
    if job.columns == "rows":
        columns |= {f"row:{n}": f"Row {n}" for n in range(1, 33)}
    columns |= {f"rate:{name}": f"{name} (lb/ac)" for name in job.rates_lb_ac}
    products = [
        f'  {{ product = "{name}", rate = "{rate:g} lb/ac", compartment = "{bin_}" }},'
        for (name, rate), bin_ in zip(job.rates_lb_ac.items(), COMPARTMENTS_BU, strict=False)
    ]
    lines = [
        "[[operation]]",
        f'name = "{job.name}"',
        f'field = "{job.plot.name}"',
        f"date = {job.start[:10]}",
        'implement = "drill"',
        "tracks = [" + ", ".join(f'"logs/{name}"' for name in logs) + "]",
        "products = [",
        *products,
        "]",
    ]
    if job.rates_lb_ac == FERTILIZER:
        lines.append('method = "drilled before planting"')
    else:
        lines += ['method = "drilled"', f'quote = "{SEEDING_QUOTE}"']
    if any(isinstance(fault, Blocked) for fault in job.faults):
        lines.append(f'blockages = "logs/{job.slug}-blockages.csv"')
    if job.cart is not None:
        lines.append(f'loads = "{TICKETS}"')
    lines.append("[operation.columns]")
    lines += [f'"{role}" = "{column}"' for role, column in columns.items()]
    return "\n".join([*lines, ""])
