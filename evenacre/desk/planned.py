"""What the pages of tasks have done in a process of its own: planning, finishing, exporting."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from functools import partial
from itertools import count, takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenacre.desk.farm import Farm
from evenacre.desk.tasks import TASKS, Task, in_boxes, of_keys, of_options, troubles_of
from evenacre.desk.work import Ended, Say, Stage, address_of, folder_for
from evenacre.errors import InputError
from evenacre.language import speak, tr
from evenacre.processes.written import Written

if TYPE_CHECKING:
    from evenacre.workflows.result import Outcome


def do(say: Say, farm: Farm, key: str, values: Mapping[str, Any]) -> Ended:
    """Do a task by what was typed, into a folder of its own.

    Parameters
    ----------
    say : callable
        Told each stage.
    farm : Farm
    key : str
        Of the task.
    values : mapping
        As `evenacre.desk.tasks.values_of` gives them.
    """
    task = TASKS[key]
    folder, written = folder_for(farm, key), Written()
    try:
        outcome, told = _DONE[key](say, farm, task, values, folder, written)
    except InputError as error:
        beside, others = troubles_of(error.problems, task)
        labels = {ask.name: ask.label for ask in task.asks}
        lines = (*others, *(f"{labels[name]}: {text}" for name, text in beside.items()))
        return Ended(lines, failed=True, wrong=beside)
    said = (*told, *outcome.remarks, *written.notes)
    return Ended(tuple(in_boxes(text, task) for text in said), address_of(farm, folder))


def check(farm: Farm, task: Task, values: Mapping[str, Any]) -> None:
    """Tell what is wrong with what was typed, as far as no map and no log is needed for it.

    Raises
    ------
    InputError
    """
    options = of_options(task, values)
    if task.key == "calibrate":
        from evenacre.io.season.load import draft_season
        from evenacre.workflows.calibrate import read_test

        is_known = farm.season.exists()
        read_test(options, draft_season(farm.season, maps=False).season if is_known else None)
    elif task.key == "finish":
        from evenacre.units.display import US
        from evenacre.workflows.finish import typed_answer

        if options.typed:
            typed_answer(options, US)
        else:
            _check_left(options)
    elif task.key == "passes":
        from evenacre.io.season.pass_inputs import read_drive_options

        read_drive_options(of_keys(task, values))
    elif task.key == "seeding":
        options.asked()
    elif task.key == "export":
        from evenacre.workflows.export import typed_rates

        typed_rates(options.zone_rate or ())


def _check_left(options: Any) -> None:
    """Of a job with a log: what the cart holds may stand in the season."""
    with_unit = options.left is not None and "%" not in options.left
    _ = options.rate_kg_per_m2, options.amount_left() if with_unit else None


_Told = tuple["Outcome", list[str]]


def _seeding(
    say: Say, farm: Farm, task: Task, values: Mapping[str, Any], folder: Path, written: Written
) -> _Told:
    from evenacre.workflows.interseed import interseed_season

    say(Stage("reading the paddocks"))
    season, asked = of_options(task, values).read(farm.season)
    speak(season.language)
    cores = os.cpu_count() or 1
    outcome = interseed_season(
        season, folder, jobs=cores, say=lambda name: say(Stage(name)), written=written, **asked
    )
    # The tables that follow the answer are in the report, and would not be read in a list.
    answer = [line.strip() for line in takewhile(bool, outcome.lines)]
    account = outcome.summary
    return outcome, [
        *answer,
        *account["warnings"],
        *(tr("Take care: {said}", said=text) for text in account["cautions"]),
    ]


def _passes(
    say: Say, farm: Farm, task: Task, values: Mapping[str, Any], folder: Path, written: Written
) -> _Told:
    from evenacre.units.display import unit_system
    from evenacre.workflows.passes import drive_over, fenced_as, plan_field_passes
    from evenacre.workflows.typed.passes_options import read_drive

    say(Stage("reading the fields"))
    ground, options = read_drive(of_keys(task, values), farm.season, of_options(task, values))
    speak(ground.language)
    ground = fenced_as(ground, options)
    drive, begun = drive_over(ground, options), count()
    total = len(ground.fields)
    outcome = plan_field_passes(
        ground,
        drive,
        folder,
        unit_system(ground.units),
        say=lambda name: say(Stage(name, next(begun), total)),
        written=written,
    )
    return outcome, _plain(outcome)


def _finish(
    say: Say, farm: Farm, task: Task, values: Mapping[str, Any], folder: Path, written: Written
) -> _Told:
    from evenacre.io.season.load import load_season
    from evenacre.units.display import unit_system
    from evenacre.workflows.finish import ComeOutEven, chosen_operation, finish_operation
    from evenacre.workflows.result import write_result

    options = of_options(task, values)
    _check_left(options)  # before anything is read
    say(Stage("reading the log"))
    season = load_season(farm.season)
    speak(season.language)
    plan = chosen_operation(season, farm.season.name, options.operation, options.field)
    say(Stage(f"looking ahead on {plan.field.name}"))
    job = partial(finish_operation, plan, options, unit_system(season.units))
    outcome = write_result(ComeOutEven, folder, job, written=written)
    return outcome, _plain(outcome)


def _export(
    say: Say, farm: Farm, task: Task, values: Mapping[str, Any], folder: Path, written: Written
) -> _Told:
    from evenacre.io.season.load import load_season
    from evenacre.reports.pages.export import CAUTION
    from evenacre.workflows.export import MachinePlan, planned_jobs
    from evenacre.workflows.result import write_result

    say(Stage("reading the fields"))
    season = load_season(farm.season, logs=False)
    speak(season.language)
    jobs, findings = planned_jobs(season, farm.season.name, of_options(task, values))
    outcome = write_result(
        MachinePlan, folder, lambda: MachinePlan(season, jobs, tuple(findings)), written=written
    )
    return outcome, [*_plain(outcome), tr("Take care: {said}", said=tr(CAUTION))]


def _plain(outcome: Outcome) -> list[str]:
    """The lines of an answer, one below the other."""
    said = (" ".join(line.split()) for line in outcome.lines)
    caution, care = tr("caution: {said}", said=""), tr("Take care: {said}", said="")
    return [line.replace(caution, care) for line in said if line]


_DONE: dict[str, Callable[[Say, Farm, Task, Mapping[str, Any], Path, Written], _Told]] = {
    "seeding": _seeding,
    "passes": _passes,
    "finish": _finish,
    "export": _export,
}
