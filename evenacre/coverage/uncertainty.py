"""How positions of a drive may be off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from evenacre.coverage.steps import Steps
from evenacre.model import FloatArray, IntArray, Settings

# Receivers with real-time corrections repeat a pass about so well (common practice, no source).
_USUAL_PASS_M = 0.03


@dataclass(frozen=True)
class PositionError:
    """Standard uncertainty of positions, along each axis.

    Attributes
    ----------
    pass_m : (passes + 1,) float
        Between passes, by pass number.
    within_m : float
        Within a pass: what wanders over some 30 m of travel.
    steered : bool
        The machine followed its guidance line: the receiver's error is in the ground and not
        in the log.
    memory_s : float or None
        The error between passes drifts as a first-order process of this memory; None: it is a
        constant of each pass, and no pass tells of another.
    """

    pass_m: FloatArray
    within_m: float
    steered: bool = False
    memory_s: float | None = None


def position_error(
    steps: Steps, number: IntArray, settings: Settings, sigma_m: FloatArray | None
) -> PositionError:
    """What the user states, else what the log's fix quality tells, else 3 cm.

    Parameters
    ----------
    number : (n - 1,) int
        Pass of each step.
    sigma_m : (n fixes,) float or None
        From the fix quality; NaN where unknown.
    """
    passes = int(number.max(initial=0)) + 1
    stated = settings.pass_to_pass_m
    usual = _USUAL_PASS_M if stated is None else stated
    pass_m = np.full(passes, usual)
    if stated is None and sigma_m is not None:
        logged = pd.Series(sigma_m[steps.record]).groupby(number).median().dropna()
        pass_m[logged.index.to_numpy()] = logged.to_numpy()
    return PositionError(pass_m, settings.within_pass_m)
