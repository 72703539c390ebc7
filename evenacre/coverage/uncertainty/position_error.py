"""How positions of a drive may be off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evenacre.coverage.steps import Steps
from evenacre.model import BoolArray, FloatArray


@dataclass(frozen=True)
class PositionError:
    """Standard uncertainty of positions, along each axis.

    Attributes
    ----------
    pass_m : (passes + 1,) float
        Between passes, by pass number.
    within_m : float
        Within a pass: what wanders over some 30 m of travel.
    steered : (passes + 1,) bool
        Passes in which the machine followed its guidance line: the receiver's error is in the
        ground and not in the log.
    memory_s : float or None
        The error between passes drifts as a first-order process of this memory; None: it is a
        constant of each pass, and no pass tells of another.
    assumed : bool
        Nothing tells how far the receiver errs: it may be anything from nothing to this.
    within_assumed : bool
        Nothing tells how far it wanders within a pass: anything from nothing to ``within_m``.
    interval_s : float
        Time that a record stands for, as a rule.
    """

    pass_m: FloatArray
    within_m: float
    steered: BoolArray
    memory_s: float | None = None
    assumed: bool = False
    within_assumed: bool = False
    interval_s: float = 0.0


def logging_interval_s(steps: Steps) -> float:
    """Time that a record stands for, as a rule."""
    spoken_for = np.bincount(steps.record[steps.whole], steps.duration_s[steps.whole])
    return float(np.median(spoken_for[spoken_for > 0]))
