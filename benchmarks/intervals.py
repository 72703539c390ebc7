"""Whether 90 % intervals hold the truth of simulated jobs as often as they say, by family.

    python benchmarks/intervals.py --jobs 80 --workers 2

Every job is driven at random (`tests/simulated_jobs.py`, which shares no code with the engine)
and audited with what a person would know of it. For each family and figure: the share of jobs
whose 90 % interval holds the truth, and truth less expected in standard uncertainties (mean and
root mean square). Then the places that were listed, by their chance, and how many were bare.
"""

from __future__ import annotations

import argparse
import re
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

from jobs import DRILL
from simulated_jobs import Driver, Receiver, off_by, simulate

from evenacre.coverage.audit import audit_operation
from evenacre.model import EXACT, Doubt, Implement, Settings, SettingsError, TowedUnit

FIGURES = {
    "covered_area_m2": "covered",
    "skip_area_m2": "missed",
    "overlap_area_m2": "overlap",
    "excess_area_m2": "excess",
    "outside_area_m2": "outside",
}
MASSES = {
    "applied_in_field_kg": "kg in field",
    "outside_kg": "kg outside",
    "overlap_kg": "kg doubled",
}
# Meters are accepted within so much of what they are set to (Field and Solie).
METER = 0.05
MOUNTED = replace(DRILL, error=EXACT)
TOWED = replace(
    DRILL,
    antenna_ahead_m=1.8,
    antenna_left_m=0.2,
    tow=(TowedUnit(5.0),),
    tool_behind_m=0.9,
    product_lag_s=1.5,
    error=EXACT,
)
BY_EYE, STEERED = Driver(), Driver(steered=True)
LAPPED = Driver(steered=True, gap_m=-0.3)
# A hand on the switch is late by so much, or early (common practice, no source).
HAND_S, SPEED_MPS = 0.35, 2.4
UNKNOWN = SettingsError(Doubt(low=0.0, high=12.0), Doubt(), Doubt(), Doubt())


@dataclass(frozen=True)
class Family:
    """Jobs alike: the receiver as it is, the driver, the drill, and what is known of them."""

    receiver: Receiver
    driver: Driver
    drill: Implement = MOUNTED
    hz: float = 1.0
    skip: float = 0.0  # ground left between two passes by mistake, in half of the jobs
    placed: bool = True  # somebody told where the tool is, and how late product comes
    stated: bool = True  # somebody told how good the receiver is


DRIFT = Receiver(drift_m=0.03, within_m=0.02)
COARSE = Receiver(drift_m=0.3, within_m=0.05)
SLOW, BY_HAND_ROUND = (
    Receiver(wander_m=0.25, memory_s=480.0),
    Driver(steered=True, rounds_by_hand_m=0.3),
)
WANDER, PHONE = Receiver(wander_m=0.3, memory_s=600.0), Receiver(wander_m=1.5)
TAPE = replace(TOWED, error=SettingsError())
LATE = replace(TOWED, error=replace(EXACT, lag_s=Doubt(1.0)))
ASIDE = replace(TOWED, error=replace(EXACT, left_m=Doubt(0.1), width_m=Doubt(0.05)))
FARTHER = replace(TOWED, error=UNKNOWN)
FAMILIES = {
    "2 cm white, by eye": Family(Receiver(white_m=0.02), BY_EYE, hz=5.0),
    "2 cm white, towed": Family(Receiver(white_m=0.02), BY_EYE, TOWED, 5.0, 0.8),
    "3 cm drift, by eye": Family(DRIFT, BY_EYE, skip=0.5),
    "3 cm drift, even": Family(DRIFT, Driver(scatter_m=0.03), skip=0.25),
    "3 cm drift, steered": Family(DRIFT, STEERED, skip=0.4),
    "3 cm drift, lapped": Family(DRIFT, LAPPED, TOWED, skip=0.4),
    "3 cm not stated, by eye": Family(DRIFT, BY_EYE, skip=0.5, stated=False),
    "3 cm not stated, steered": Family(DRIFT, STEERED, skip=0.5, stated=False),
    "30 cm drift, by eye": Family(COARSE, BY_EYE, skip=1.5),
    "30 cm drift, steered": Family(COARSE, STEERED, skip=1.5),
    "30 cm wander, by eye": Family(WANDER, BY_EYE, skip=1.5),
    "30 cm wander, steered": Family(WANDER, STEERED, skip=1.5),
    "25 cm, rounds by hand": Family(SLOW, BY_HAND_ROUND, TOWED),
    "1.5 m wander, by eye": Family(PHONE, BY_EYE),
    "1.5 m not stated, by eye": Family(PHONE, BY_EYE, stated=False),
    "figures by tape": Family(DRIFT, BY_EYE, TAPE, skip=1.0),
    "figures by tape, steered": Family(DRIFT, STEERED, TAPE),
    "lag unsure": Family(DRIFT, BY_EYE, LATE),
    "offset unsure": Family(DRIFT, STEERED, ASIDE),
    "behind not told": Family(DRIFT, BY_EYE, TOWED, placed=False),
    "behind told wrong": Family(DRIFT, BY_EYE, FARTHER),
}


def one(job: tuple[str, int]) -> dict[str, object]:
    """Simulate and audit one job."""
    name, seed = job
    family = FAMILIES[name]
    rng = np.random.default_rng([seed, sum(map(ord, name))])
    receiver = family.receiver
    told = off_by(family.drill, rng)
    if not family.placed:
        figures = dict.fromkeys(("antenna_ahead_m", "tool_behind_m", "product_lag_s"), 0.0)
        told = replace(told, **figures, tow=(), told=("left",))
    driver = replace(family.driver, gap_m=family.driver.gap_m + rng.uniform(-0.1, 0.05))
    driver = replace(driver, late_m=float(rng.normal(0.0, HAND_S) * SPEED_MPS))
    if family.skip and seed % 2:
        driver = replace(driver, missed_m=rng.uniform(0.5, 2.0) * family.skip)
    settings = Settings()
    if family.stated:
        between_m = float(np.hypot(receiver.drift_m, receiver.wander_m))
        within_m = receiver.within_m if not receiver.wander_m else None
        settings = Settings(pass_to_pass_m=between_m, within_pass_m=within_m)
    made = simulate(
        int(rng.integers(2**31)),
        receiver,
        driver,
        family.drill,
        told,
        length_m=rng.uniform(80, 200),
        passes=int(rng.integers(8, 16)),
        rounds=int(rng.integers(1, 3)),
        hz=family.hz,
        speed_mps=SPEED_MPS,
        settings=settings,
        meter=1 + rng.uniform(-METER, METER),
    )
    result = audit_operation(made.operation)
    truth = made.areas_m2
    skips = result.layers["skips"]
    bare = made.bare_share(skips.geometry.to_numpy(), result.crs) if len(skips) else np.zeros(0)
    chance = skips["chance"].to_numpy() if "chance" in skips else np.ones(len(skips))
    (seed_put,) = result.products
    interval = result.interval_90 | seed_put.interval_90
    drawn = {k: getattr(result, k) for k in truth} | {k: getattr(seed_put, k) for k in MASSES}
    middle = {k: sum(interval[k]) / 2 for k in MASSES} | {k: result.expected[k] for k in truth}
    truth |= {k: getattr(made, k) for k in MASSES}
    return {
        "family": name,
        "seed": seed,
        "truth": truth,
        "low": {k: interval[k][0] for k in truth},
        "high": {k: interval[k][1] for k in truth},
        "expected": middle,
        "drawn": drawn,
        "places": np.column_stack([chance, bare, skips["area_m2"].to_numpy(float)]),
        "kinds": list(skips["kind"]),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=63, help="of each family")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", default="", help="families whose names match this")
    parser.add_argument("--first", type=int, default=0)
    asked = parser.parse_args()
    names = [name for name in FAMILIES if re.search(asked.only, name)]
    jobs = [(name, asked.first + i) for name in names for i in range(asked.jobs)]
    with ProcessPoolExecutor(asked.workers) as pool:
        done = list(pool.map(one, jobs, chunksize=4))
    print(f"{'':26}" + "".join(f"{word:>26}" for word in (FIGURES | MASSES).values()))
    for name in [*names, "all"]:
        mine = [d for d in done if name in (d["family"], "all")]
        cells = []
        for key in FIGURES | MASSES:
            truth, low, high, mean, drawn = (
                np.array([d[what][key] for d in mine])
                for what in ("truth", "low", "high", "expected", "drawn")
            )
            held = np.mean((low - 1e-6 <= truth) & (truth <= high + 1e-6))
            off = (truth - mean) / np.maximum((high - low) / 3.29, 1e-9)
            cells.append(
                f"{100 * held:5.0f} % {np.mean(off):5.2f} {np.sqrt(np.mean(off**2)):4.2f}"
                f" {np.mean(drawn - truth):6.0f}"
            )
        print(f"{name:26}" + "".join(f"{cell:>26}" for cell in cells))
    places = np.concatenate([d["places"] for d in done])
    print("\nplaces by chance: number, mean chance, share of them mostly bare")
    for low, high in ((0.95, 1.01), (0.8, 0.95), (0.5, 0.8), (0.2, 0.5), (-0.01, 0.2)):
        here = places[(places[:, 0] >= low) & (places[:, 0] < high)]
        if len(here):
            print(
                f"  {low:5.2f} to {min(high, 1):4.2f}: {len(here):5} {here[:, 0].mean():6.3f}"
                f" {(here[:, 1] > 0.5).mean():6.3f}"
            )
    for name in names:
        mine = np.concatenate([d["places"] for d in done if d["family"] == name])
        sure = mine[mine[:, 0] >= 0.95]
        bare = (sure[:, 1] > 0.5).mean() if len(sure) else np.nan
        print(f"  {name:26} listed {len(mine):5}, sure {len(sure):5}, of these bare {bare:6.3f}")


if __name__ == "__main__":
    main()
