"""A drive being put together: the path, and where each tower fed its openers."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from shapely.geometry.base import BaseGeometry

from evenacre.sample_fields.chain import Rig, tool_line
from evenacre.sample_fields.paths import FloatArray, Path, Pose, connect, straight

WIDTH_M = 6.096
TOWERS = 4
TOWER_M = WIDTH_M / TOWERS
GUARD_M = 0.3
LEAD_IN_M = 1.5
DRIVE_UP_M = 15.0


@dataclass(frozen=True)
class Hint:
    """Ground that a fault was meant to leave, and what it should be called."""

    area: BaseGeometry
    kind: str
    cause: str


@dataclass
class DrivenField:
    """A drill axle's path with the ground states along it.

    Attributes
    ----------
    on : list of (k, 2) arrays
        For each tower from the left, the stretches of the path where it feeds openers.
    runs : list of (float, float)
        Stretches that cannot cover the same ground twice.
    passes : dict of int to (float, float)
        Where along the path each pass first worked and last worked.
    """

    path: Path
    on: list[FloatArray]
    runs: list[tuple[float, float]]
    passes: dict[int, tuple[float, float]]
    hints: list[Hint]


@dataclass
class Logbook:
    """A drive being put together."""

    parts: list[Path] = field(default_factory=list)
    s: float = 0.0
    on: list[list[FloatArray]] = field(default_factory=lambda: [[] for _ in range(TOWERS)])
    runs: list[tuple[float, float]] = field(default_factory=list)
    passes: dict[int, tuple[float, float]] = field(default_factory=dict)

    def add(self, path: Path) -> float:
        """Drive a path and say where it began."""
        began = self.s
        self.parts.append(path)
        self.s += path.length
        return began

    def go_to(self, pose: Pose) -> None:
        """Turn to a pose with the drill up, or drive up to it when it is the first."""
        if self.parts:
            self.add(connect(self.parts[-1].end, pose))
        else:
            self.add(straight(pose.ahead(-DRIVE_UP_M), DRIVE_UP_M))

    def leave(self) -> None:
        """Drive on with the drill up, long enough for the log to see it lifted."""
        self.add(straight(self.parts[-1].end, DRIVE_UP_M))

    def work(self, tower: int, stretches: FloatArray) -> None:
        """Note where a tower fed its openers."""
        self.on[tower].append(stretches)


def tower_edges(tower: int) -> tuple[float, float]:
    """Left and right edge of a tower's rows, metres left of the centre."""
    left = WIDTH_M / 2.0 - tower * TOWER_M
    return left, left - TOWER_M


def edge_points(path: Path, rig: Rig, left_m: float) -> FloatArray:
    """Points of the tool line this far left of its centre."""
    x, y = tool_line(path, rig)
    return np.column_stack((x - left_m * np.sin(path.heading), y + left_m * np.cos(path.heading)))
