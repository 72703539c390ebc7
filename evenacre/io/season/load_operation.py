"""Read everything one operation needs: logs, blockages of rows, tickets of loads."""

from __future__ import annotations

from collections.abc import Iterator

from evenacre.errors import InputError, Problem
from evenacre.io.common.findings import Findings
from evenacre.io.logs.blockages import blockages_of, match_clock, read_blockage_file
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.logs.volume_to_mass import weigh_amounts
from evenacre.io.maps.location_check import place_tracks, turn_tracks
from evenacre.io.tickets.load_tickets import match_ticket_clock, read_tickets
from evenacre.model import UNDATED_S, LoadTicket, Operation, OperationPlan, Track


def load_operation(plan: OperationPlan) -> Operation:
    """Read the files of an operation and check that they belong together.

    Its warnings are the plan's and those that concern several files; what concerns one log
    stays with its tracks.

    Raises
    ------
    InputError
        With the problems of every file.
    """
    operation, problems = read_operation(plan)
    if problems:
        raise InputError(problems)
    return operation


def read_operation(plan: OperationPlan) -> tuple[Operation, list[Problem]]:
    """Read the files of an operation as far as they go, and collect what is wrong."""
    problems: list[Problem] = []
    warnings = list(plan.warnings)
    tracks: list[Track] = []
    for read in _logs(plan):
        if isinstance(read, InputError):
            problems += read.problems
        else:
            tracks += weigh_amounts(read, plan.applications)
    placed = turn_tracks(tracks)
    if plan.field.boundary is not None:
        try:
            placed, said = place_tracks(tracks, plan.field.boundary, field=plan.field.name)
            warnings += said
        except InputError as error:
            problems += error.problems
    blockages = plan.blockages
    if plan.blockage_file is not None:
        try:
            notes, said = read_blockage_file(plan.blockage_file)
            warnings += said
            blockages += blockages_of(
                notes, plan.implement, date=plan.date, time_zone=plan.time_zone
            )
        except InputError as error:
            problems += error.problems
    blockages, said = match_clock(blockages, placed, plan.time_zone)
    warnings += said + _other_days(plan, placed)
    tickets, found = _tickets(plan, placed, problems)
    warnings += found.warnings
    operation = Operation(
        name=plan.name,
        field=plan.field,
        implement=plan.implement,
        tracks=placed,
        applications=plan.applications,
        date=plan.date,
        blockages=blockages,
        settings=plan.settings,
        notes=(*plan.notes, *found.notes),
        warnings=tuple(dict.fromkeys(warnings)),
        tickets=tickets,
        method=plan.method,
        quote_per_m2=plan.quote_per_m2,
        compartment_of=plan.compartment_of,
        with_seed=plan.with_seed,
        time_zone=plan.time_zone,
    )
    return operation, problems


def _tickets(
    plan: OperationPlan, tracks: tuple[Track, ...], problems: list[Problem]
) -> tuple[tuple[LoadTicket, ...], Findings]:
    """Load tickets on the clock of the tracks."""
    if plan.ticket_file is None:
        return plan.tickets, Findings()
    try:
        read, findings = read_tickets(plan.ticket_file, plan)
    except InputError as error:
        problems += error.problems
        return plan.tickets, Findings()
    tickets, said = match_ticket_clock((*plan.tickets, *read), tracks, plan.time_zone)
    return tickets, Findings(findings.notes, findings.warnings + said)


def _logs(plan: OperationPlan) -> Iterator[list[Track] | InputError]:
    """Read each log in turn, those at hand last; the error in place of one that cannot be read."""
    count = len(plan.track_files)
    layers = plan.track_layers or (plan.layer,) * count
    systems = plan.track_crs or (plan.crs,) * count
    for path, layer, crs in zip(plan.track_files, layers, systems, strict=True):
        try:
            yield read_tracks(
                path, columns=plan.columns, layer=layer, crs=crs, time_zone=plan.time_zone
            )
        except InputError as error:
            yield error
    if plan.tracks:
        yield list(plan.tracks)


def _other_days(plan: OperationPlan, tracks: tuple[Track, ...]) -> list[str]:
    """Warn of logs of another day than the operation's."""
    if not plan.date:
        return []
    warnings = []
    for track in tracks:
        days = dates_of(track.time_s[track.time_s > UNDATED_S], plan.time_zone)
        if days and plan.date not in days:
            shown = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
            warnings.append(f"{track.source}: the log is of {shown}, the operation of {plan.date}.")
    return warnings
