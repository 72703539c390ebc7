"""What the logs of a season tell of its drills, and the folder of it: read, measure, draw."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

from evenacre.coverage.legs import measure_operation
from evenacre.coverage.measure.settings import Evidence
from evenacre.io.result_folder.ownership import MEASURED, write_account
from evenacre.io.season.load_operation import load_operation
from evenacre.io.writers.file_names import unique_slugs
from evenacre.language import tr
from evenacre.model import Season
from evenacre.processes.generation_time import generation_time
from evenacre.processes.written import Written
from evenacre.reports.maps.measured import measured_picture
from evenacre.reports.sentences.findings import refusals_in_words
from evenacre.reports.sentences.measure import MeasureReport, measure_lines
from evenacre.reports.tables.accounts import measured_account
from evenacre.units.display import UnitSystem
from evenacre.workflows.result import FolderResult, Outcome, write_result


@dataclass(frozen=True, repr=False)
class MeasuredDrill(FolderResult):
    """What the logs of each operation tell of the drill that did it.

    Attributes
    ----------
    season : Season
        What was read.
    reports : tuple of MeasureReport
        One for each operation.
    units : UnitSystem
        Of the words and pictures.

    Examples
    --------
    >>> drill = ev.measure("log.csv", boundary="field.geojson", width="20 ft")
    >>> drill.measured[0].of("lag").why_not
    'one_speed'
    """

    account: ClassVar[str] = MEASURED
    season: Season
    reports: tuple[MeasureReport, ...]
    units: UnitSystem

    @property
    def measured(self) -> tuple[Evidence, ...]:
        """The figures of each operation, with what they come from, in the order of the season."""
        return tuple(report.evidence for report in self.reports)

    def _lines(self) -> tuple[str, ...]:
        lines = [line for report in self.reports for line in measure_lines(report, self.units)]
        return (*lines, *(tr("warning: {said}", said=text) for text in self.season.warnings))

    def _summary(self) -> dict[str, Any]:
        return measured_account(
            self.reports,
            farm=self.season.farm,
            generated=generation_time().isoformat(timespec="seconds"),
            inputs=self.season.inputs,
            warnings=self.season.warnings,
            pictures=self._pictures,
        )

    def _fill(self, stage: Path) -> dict[str, Any]:
        for report, name in zip(self.reports, self._pictures, strict=True):
            (stage / name).write_bytes(measured_picture(report, self.units))
        return write_account(stage, MEASURED, self.summary)

    @property
    def _pictures(self) -> list[str]:
        slugs = unique_slugs(f"{report.field} {report.operation}" for report in self.reports)
        return [f"{slug}.png" for slug in slugs]


def run_measure(
    season: Season, units: UnitSystem, *, say: Callable[[str], None] = lambda _stage: None
) -> MeasuredDrill:
    """Tell what the logs of every operation do of its drill.

    Parameters
    ----------
    season : Season
    units : UnitSystem
    say : callable, optional
        Told each operation as it begins.

    Raises
    ------
    InputError
        When a file cannot be used.
    """
    reports = []
    for plan in season.operations:
        say(f"{plan.field.name}, {plan.name}")
        operation = load_operation(plan, width_needed=False)
        with refusals_in_words():
            evidence = measure_operation(operation)
        reports.append(MeasureReport(operation.field.name, operation.name, evidence))
    return MeasuredDrill(season, tuple(reports), units)


def measure_season(
    season: Season,
    out: Path,
    units: UnitSystem,
    *,
    say: Callable[[str], None] = lambda _stage: None,
    written: Written | None = None,
) -> Outcome:
    """Measure as `run_measure` does, and write the result folder.

    Raises
    ------
    InputError
        When a file cannot be used, or the folder cannot be written.
    """
    job = partial(run_measure, season, units, say=say)
    return write_result(MeasuredDrill, out, job, written=written)
