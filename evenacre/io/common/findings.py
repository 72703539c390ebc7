"""What reading a file brought to light, in sentences: notes and warnings."""

from __future__ import annotations

from dataclasses import dataclass, field

from evenacre.shown_text import shortened

FEW = 0.01
"""Share of unreadable cells up to which a column is used without them."""


@dataclass
class Findings:
    """What was guessed (notes) and what looked suspicious (warnings) while reading.

    Of the warnings, ``not_used`` has by role why a column that seems to have it was not used.
    """

    notes: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    not_used: dict[str, str] = field(default_factory=dict)

    def note(self, text: str) -> None:
        """Add a note once."""
        if (line := shortened(text)) not in self.notes:
            self.notes.append(line)

    def warn(self, text: str, *, not_used: str = "") -> None:
        """Add a warning once; it may say why the column of a role was not used."""
        if (line := shortened(text)) not in self.warnings:
            self.warnings.append(line)
        if not_used:
            self.not_used[not_used] = line


@dataclass(frozen=True)
class Subject:
    """Something read; its name goes before each note and warning about it."""

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


def counted(number: int, noun: str, verb: str = "") -> str:
    """Write a count for a sentence: ``1 record has``, ``2,300 records have``."""
    one = number == 1
    if verb:
        verb = " " + (
            {"are": "is", "were": "was", "have": "has", "do": "does"}.get(verb, f"{verb}s")
            if one
            else verb
        )
    return f"{number:,} {noun if one else noun + 's'}{verb}"


def one_line(value: object, most: int = 60) -> str:
    """Write a cell for a sentence: on one line, and cut where it is long."""
    text = " ".join(str(value)[: 2 * most].split())
    return text if len(text) <= most else f"{text[:most]} ..."
