"""What notes and warnings are about."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from evenacre.io.common.findings import Findings, counted
from evenacre.model import BoolArray, FloatArray


@dataclass(frozen=True)
class Subject:
    """Something in a set of task data; its name goes before each note and warning about it."""

    name: str
    findings: Findings = field(default_factory=Findings)

    def part(self, name: str) -> Subject:
        """Something within it, with the same findings."""
        return Subject(f"{self.name}, {name}", self.findings)

    def note(self, text: str) -> None:
        """Add a note once."""
        self.findings.note(f"{self.name}: {text}")

    def warn(self, text: str) -> None:
        """Add a warning once."""
        self.findings.warn(f"{self.name}: {text}")

    def without(self, values: FloatArray, bad: BoolArray, flaw: str) -> FloatArray:
        """Take bad values of records as missing, with a warning that they ``have`` a flaw."""
        if bad.any():
            count = counted(int(bad.sum()), "record", "have")
            self.warn(f"{count} {flaw}; it is taken as missing.")
        return np.where(bad, np.nan, values)
