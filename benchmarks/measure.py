"""Hold what logs tell of a drill against drills that are known, over seeded jobs.

    python benchmarks/measure.py [--jobs 400] [--seed 1] [--only FAMILY]

For each family of jobs it prints how often each figure was told, and how often it was right: tool
behind the antenna within 0.5 m (or within 2 standard uncertainties, where it says that it is not
that sure), antenna from the middle within 2 cm, delay within 0.3 s, spacing within 5 cm. Where no
delay is told either, what is held is the sum that pass ends at one speed show. Below, jobs whose
logs cannot tell a figure: how often it says so. And jobs whose figures are told: how often it
doubts right ones, and wrong ones.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from hidden_settings import Rig, Simulated, Work, simulate

from evenacre.coverage.legs import measure_operation
from evenacre.coverage.measure.settings import Evidence
from evenacre.model import TowedUnit

WITHIN = {"behind": 0.5, "left": 0.02, "lag": 0.3, "width": 0.05}
MOUNTED = Rig(ahead_m=0.0, hitch_to_axle_m=0.0, tool_behind_m=0.0)
Made = tuple[Rig, Work, dict[str, Any]]


def some_rig(rng: np.random.Generator) -> Rig:
    """A towed drill of any size, or a mounted one well behind the antenna."""
    left = float(rng.choice([-1, 1]) * rng.uniform(0.06, 0.4)) if rng.random() < 0.5 else 0.0
    rig = Rig(
        width_m=float(rng.choice([6.096, 9.144, 12.192])),
        ahead_m=float(rng.uniform(0.5, 3.0)),
        hitch_to_axle_m=float(rng.uniform(2.5, 7.0)),
        tool_behind_m=float(rng.uniform(0.0, 2.0)),
        left_m=left,
        sections=int(rng.choice([1, 1, 6])),
    )
    if rng.random() < 0.2:
        rig = replace(rig, hitch_to_axle_m=0.0, tool_behind_m=float(rng.uniform(2.0, 3.0)))
    return rig


def some_work(rng: np.random.Generator, **more: Any) -> Work:
    """A field driven to and fro, by steering or by hand, logged often or seldom."""
    return Work(
        **{
            "length_m": float(rng.uniform(150, 400)),
            "passes": int(rng.integers(10, 25)),
            "slant": float(rng.choice([0.0, rng.uniform(-0.6, 0.6)])),
            "rounds": int(rng.integers(0, 3)),
            "speed_mps": float(rng.uniform(1.6, 2.8)),
            "hz": float(rng.choice([5.0, 5.0, 1.0])),
            "white_m": float(rng.choice([0.005, 0.02])),
            "steer_m": float(rng.uniform(0.01, 0.04)),
            "turned_rad": float(rng.uniform(0, 3)),
            **more,
        }
    )


def told_of(rig: Rig, *, lag: bool = True) -> dict[str, Any]:
    """Figures of a drill as a season says them."""
    tow = (TowedUnit(rig.hitch_to_axle_m),) if rig.hitch_to_axle_m else ()
    told = {
        "antenna_ahead_m": rig.ahead_m,
        "tow": tow,
        "tool_behind_m": rig.tool_behind_m,
        "antenna_left_m": rig.left_m,
        "told": ("behind", "left", "lag") if lag else ("behind", "left"),
    }
    return told | ({"product_lag_s": rig.lag_s} if lag else {})


def telling(rng: np.random.Generator) -> Made:
    """Work goes on and off on the headland's edge; nothing is told, and there is no delay."""
    return some_rig(rng), some_work(rng), {}


def overlapping(rng: np.random.Generator) -> Made:
    """A careful driver, early on and late off."""
    return some_rig(rng), some_work(rng, habit="overlap"), {}


def delay_told(rng: np.random.Generator) -> Made:
    """The delay is told, the drill is not."""
    rig = replace(some_rig(rng), lag_s=float(rng.uniform(0.5, 4.0)))
    return rig, some_work(rng), {"product_lag_s": rig.lag_s}


def nothing_told(rng: np.random.Generator) -> Made:
    """There is a delay, and neither it nor the drill is told."""
    rig = replace(some_rig(rng), lag_s=float(rng.uniform(0.5, 4.0)))
    return rig, some_work(rng), {}


def drill_told(rng: np.random.Generator) -> Made:
    """The drill is told, and its delay is not."""
    rig = replace(some_rig(rng), lag_s=float(rng.uniform(1.0, 4.0)))
    return rig, some_work(rng), told_of(rig, lag=False)


def many_speeds(rng: np.random.Generator) -> Made:
    """Neither is told, and speeds differ from pass to pass."""
    rig = replace(some_rig(rng), lag_s=float(rng.uniform(1.0, 4.0)))
    return rig, some_work(rng, speed_spread=0.3, hz=5.0, passes=24), {}


def controlled(rng: np.random.Generator) -> Made:
    """Section control switches, whose own timing is off by a little."""
    return replace(some_rig(rng), sections=6), some_work(rng, habit="set off"), {}


def lands(rng: np.random.Generator) -> Made:
    """Round and round two halves of the field."""
    return some_rig(rng), some_work(rng, pattern="lands"), {}


def by_hand(rng: np.random.Generator) -> Made:
    """Steered by hand, so that passes wander by a decimetre."""
    return some_rig(rng), some_work(rng, steer_m=float(rng.uniform(0.06, 0.15))), {}


def one_way(rng: np.random.Generator) -> Made:
    """All passes go the same way: neither ends nor seams tell."""
    return some_rig(rng), some_work(rng, pattern="one way"), {}


def few_passes(rng: np.random.Generator) -> Made:
    """Three or four passes."""
    return some_rig(rng), some_work(rng, passes=int(rng.integers(3, 5)), rounds=0), {}


def steered_antenna(rng: np.random.Generator) -> Made:
    """Steering keeps the antenna on even lines, whatever the tool does."""
    rig = replace(some_rig(rng), left_m=float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.4)))
    return rig, some_work(rng, guided="antenna"), {}


def late_hand(rng: np.random.Generator) -> Made:
    """The tool is right under the antenna, and a hand is late by half a second to one."""
    return replace(MOUNTED), some_work(rng, habit="late"), {}


def at_antenna(rng: np.random.Generator) -> Made:
    """The tool is right under the antenna; the driver overlaps, or does not."""
    return replace(MOUNTED), some_work(rng, habit=str(rng.choice(["line", "overlap"]))), {}


def right_figures(rng: np.random.Generator) -> Made:
    """All is told, and right."""
    rig = replace(some_rig(rng), lag_s=float(rng.choice([0.0, rng.uniform(0.5, 4.0)])))
    habit = str(rng.choice(["line", "overlap", "late"]))
    return rig, some_work(rng, habit=habit), told_of(rig)


def wrong_figures(rng: np.random.Generator) -> Made:
    """The season says that the tool is under the antenna, 4 m and more from where it is."""
    rig = some_rig(rng)
    if rig.behind_m < 4.0:
        rig = replace(rig, tool_behind_m=4.0)
    return rig, some_work(rng), {"told": ("behind", "lag")}


TELLING = (
    *(telling, overlapping, delay_told, nothing_told, drill_told, many_speeds),
    *(controlled, lands, by_hand),
)
CANNOT: dict[Callable[[np.random.Generator], Made], tuple[str, ...]] = {
    one_way: ("behind", "left", "lag"),
    few_passes: ("behind", "left", "lag"),
    steered_antenna: ("left",),
    late_hand: ("behind", "lag"),
    at_antenna: ("behind", "lag", "left"),
}
TOLD = (right_figures, wrong_figures)


def error_of(job: Simulated, evidence: Evidence, setting: str) -> float | None:
    """How far a figure that was told is off; None where the log was said not to tell."""
    found = evidence.of(setting)  # type: ignore[arg-type]
    if found.value is None:
        return None
    rig, speed = job.rig, found.speed_mps or job.work.speed_mps
    truth = {
        "behind": rig.behind_m,
        "left": rig.left_m,
        "lag": rig.lag_s,
        "width": job.work.spacing_m or rig.width_m,
    }[setting]
    if found.how == "together" and found.told is None:
        # One sum at one speed: a tool without a delay, or a delay with the tool at the antenna.
        together = rig.behind_m - speed * rig.lag_s
        truth = together if setting == "behind" else -together / speed
    return float(found.value - truth)


def main() -> None:
    """Run the families and print what came of them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--jobs", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    asked = parser.parse_args()
    families = [f for f in (*TELLING, *CANNOT, *TOLD) if asked.only in f.__name__]
    each = max(1, asked.jobs // len(families))
    for family in families:
        errors: dict[str, list[float]] = defaultdict(list)
        sure: dict[str, int] = defaultdict(int)
        silent: dict[str, int] = defaultdict(int)
        doubted = used = 0
        for number in range(each):
            seed = asked.seed * 100_000 + number
            rig, work, told = family(np.random.default_rng(seed))
            job = simulate(rig, work, seed, **told)
            evidence = measure_operation(job.operation)
            doubted += any(m.disagrees for m in evidence.measured)
            used += any(m.used for m in evidence.measured)
            for m in evidence.measured:
                error = error_of(job, evidence, m.setting)
                if error is None or m.sigma is None:
                    silent[m.setting] += 1
                    continue
                errors[m.setting].append(error)
                within = max(WITHIN[m.setting], 2 * m.sigma if m.setting != "width" else 0.0)
                sure[m.setting] += abs(error) <= within
        print(f"{family.__name__}: {each} jobs, {used} used, {doubted} doubted")
        for setting, limit in WITHIN.items():
            off = np.abs(errors[setting])
            if len(off):
                close = float((off <= limit).mean())
                print(
                    f"  {setting:7} told {len(off):4}  within {limit}: {close:6.1%}  or as sure as "
                    f"it says: {sure[setting] / len(off):6.1%}  median {np.median(off):.3f}  "
                    f"worst {off.max():.3f}"
                )
            if silent[setting] and setting in CANNOT.get(family, (setting,)):
                print(f"  {setting:7} said it cannot tell: {silent[setting] / each:6.1%}")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
