"""Write the sample farm: maps, logs, a season file, and the truth behind them.

``python -m evenacre.sample_fields.three_larks DIRECTORY`` writes it from the shell.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import Point

from evenacre.sample_fields import truth
from evenacre.sample_fields.chain import Rig
from evenacre.sample_fields.clock import Wobble, schedule
from evenacre.sample_fields.drive import plan
from evenacre.sample_fields.farm import JOBS, LB_PER_ACRE, Job
from evenacre.sample_fields.log_files import write_blockages, write_logs
from evenacre.sample_fields.logbook import WIDTH_M
from evenacre.sample_fields.maps import write_maps
from evenacre.sample_fields.materials import MATERIALS
from evenacre.sample_fields.paths import FloatArray
from evenacre.sample_fields.receiver import DELAY_S, INTERVAL_S, JITTER_M, WANDER_M, record
from evenacre.sample_fields.season_file import season_text
from evenacre.sample_fields.tickets import LB_KG, TRUCK_LB, Ticket, Weighed, weigh, write_tickets

SEED = 7
SETBACK_M = 30.48
TRUTH = "truth.json"


def write_farm(directory: Path, seed: int = SEED) -> None:
    """Write the whole farm into a folder.

    Parameters
    ----------
    directory : Path
        Made when missing; files of the same names are written over.
    seed : int
        Drives jitter, jumps, speeds and rates. One seed gives the same bytes every time.
    """
    logs = directory / "logs"
    logs.mkdir(parents=True, exist_ok=True)
    write_maps(directory)
    rig = Rig()
    files: dict[str, list[str]] = {}
    operations = []
    tickets: list[Ticket] = []
    for number, job in enumerate(JOBS):
        rng = np.random.default_rng([seed, number])
        drive = plan(job.plot, job.faults, rig, by_tower=job.by_tower, spacing_m=job.spacing_m)
        timed = schedule(drive, job.faults, rng)
        rates = {
            name: _Rate(target, Wobble.seeded(rng, (0.012, 0.008), (53.0, 17.0)))
            for name, target in job.rates_lb_ac.items()
        }
        records = record(timed, rig, job.faults, rng)
        at_meter = {name: rate.on_ground(records.time_s + DELAY_S) for name, rate in rates.items()}
        files[job.slug] = write_logs(logs, job, records, at_meter)
        if timed.blocked:
            write_blockages(logs, job, timed)
        laid = truth.ground(job.plot, timed, rig, records.gaps)
        masses = {
            name: truth.step_masses(laid, timed, rig, rate.on_ground(timed.time_s) * LB_PER_ACRE)
            for name, rate in rates.items()
        }
        scales = np.random.default_rng([seed, number, 1])  # leaves the logs as they were
        weighed = weigh(job, timed, laid, masses, scales)
        tickets += weighed.tickets
        operations.append({**_truth(job, laid, masses), "loads": _loads(job, weighed)})
    write_tickets(directory, tickets)
    stock = _stock(operations)
    left_lb = {s["product"]: round(s["left_kg"] / LB_KG / TRUCK_LB) * TRUCK_LB for s in stock}
    text = season_text(rig, files, left_lb)
    (directory / "season.toml").write_text(text, encoding="utf-8")
    record_of_truth = {
        "settings": {
            "seed": seed,
            "interval_s": INTERVAL_S,
            "white_jitter_m": JITTER_M,
            "wander_m": WANDER_M,
            "delay_s": DELAY_S,
            "width_m": WIDTH_M,
            "listed_skips_from_m2": truth.LISTED_M2,
        },
        "accuracy": "Straight swaths are exact; curved ones are polygons within 1 mm of the arc. "
        "Areas and amounts are what the log can show: ground worked while the log was lost "
        'counts as a skip of kind "no log", and blocked rows place nothing. Loads and '
        "stock are what truly left the cart, whatever its meter counted.",
        "operations": operations,
        "stock": stock,
    }
    text = json.dumps(record_of_truth, indent=1) + "\n"
    (directory / TRUTH).write_text(text, encoding="utf-8")


class _Rate:
    """A product's rate on the ground through time, lb/ac."""

    def __init__(self, target_lb_ac: float, wobble: Wobble) -> None:
        self.target_lb_ac = target_lb_ac
        self.wobble = wobble

    def on_ground(self, time_s: FloatArray) -> FloatArray:
        """The rate leaving the openers at each time."""
        return self.target_lb_ac * self.wobble.at(time_s)


def _truth(job: Job, laid: truth.Ground, masses: dict[str, FloatArray]) -> dict[str, Any]:
    """Everything an audit of one job should find."""
    plot = job.plot
    workable = plot.workable
    covered_m2 = laid.covered.intersection(workable).area
    in_field = truth.shares(laid, workable)
    zones = {name: area.intersection(workable) for name, area in plot.zones.items()}
    zone_shares = {name: truth.shares(laid, area) for name, area in zones.items()}
    setback = Point(plot.well).buffer(SETBACK_M, 64) if plot.well else Point()
    setback = setback.intersection(workable)
    products = []
    for name, mass in masses.items():
        products.append(
            {
                "product": name,
                "logged_kg": _kg(mass.sum()),
                "logged_lb": _kg(mass.sum() / LB_KG),
                "applied_in_field_kg": _kg((mass * in_field).sum()),
                "outside_kg": _kg((mass * (1.0 - in_field)).sum()),
                "in_setback_kg": _kg((mass * truth.shares(laid, setback)).sum()),
                "zones": [
                    {
                        "zone": zone,
                        "area_m2": _m2(zones[zone].area),
                        "applied_kg": _kg((mass * share).sum()),
                    }
                    for zone, share in zone_shares.items()
                ],
            }
        )
    return {
        "field": plot.name,
        "operation": job.name,
        "date": job.start[:10],
        "boundary_area_m2": _m2(plot.boundary.area),
        "workable_area_m2": _m2(workable.area),
        "covered_area_m2": _m2(covered_m2),
        "overlap_area_m2": _m2(laid.overlap.area),
        "excess_area_m2": _m2(laid.in_field_m2 - covered_m2),
        "skip_area_m2": _m2(workable.area - covered_m2),
        "outside_area_m2": _m2(laid.covered.difference(workable).area),
        "swept_area_m2": _m2(laid.swept_m2),
        "setback_covered_m2": _m2(laid.covered.intersection(setback).area),
        "skips": [_skip(job, skip) for skip in laid.skips],
        "products": products,
    }


def _loads(job: Job, weighed: Weighed) -> list[dict[str, Any]]:
    """What each load truly put out, and what the meter counts of it."""
    reads = job.cart.meter_reads if job.cart else {}
    return [
        {
            "product": product,
            "meter_reads": reads.get(product, 1.0),
            "used_kg": [_kg(lb * LB_KG) for lb in used],
        }
        for product, used in weighed.used_lb.items()
    ]


def _stock(operations: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What was bought, put out by all jobs, lost and left."""
    stock = []
    for material in MATERIALS:
        if material.bought_lb is None:
            continue
        used = 0.0
        for job in operations:
            read = {p["product"]: p["meter_reads"] for p in job["loads"]}
            used += sum(
                p["logged_kg"] / read.get(p["product"], 1.0)
                for p in job["products"]
                if p["product"] == material.name
            )
        bought, lost = material.bought_lb * LB_KG, material.lost_lb * LB_KG
        stock.append(
            {
                "product": material.name,
                "bought_kg": _kg(bought),
                "used_kg": _kg(used),
                "lost_kg": _kg(lost),
                "left_kg": _kg(bought - used - lost),
            }
        )
    return stock


def _skip(job: Job, skip: truth.Skip) -> dict[str, Any]:
    inside = skip.area.representative_point()
    lon, lat = job.plot.to_lonlat(np.array([inside.x]), np.array([inside.y]))
    return {
        "kind": skip.kind,
        "cause": skip.cause,
        "area_m2": _m2(skip.area.area),
        "lon": round(float(lon[0]), 7),
        "lat": round(float(lat[0]), 7),
    }


def _m2(area: float) -> float:
    return round(float(area), 2)


def _kg(mass: float) -> float:
    return round(float(mass), 4)


def main() -> None:
    """Write the farm into the folder named on the command line."""
    parser = argparse.ArgumentParser(description="Write the sample farm.")
    parser.add_argument("directory", type=Path)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args()
    write_farm(options.directory, options.seed)


if __name__ == "__main__":
    main()
