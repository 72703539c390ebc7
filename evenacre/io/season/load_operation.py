"""Read everything one operation needs: logs, blockages of rows, tickets of loads."""

from __future__ import annotations

from dataclasses import fields

import pyarrow as pa

from evenacre.errors import InputError, Problem, gathered
from evenacre.io.logs.blockages import blockages_of, match_clock, read_blockage_file
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.logs.columns.columns_read import Seen
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.io.logs.volume_to_mass import weigh_amounts
from evenacre.io.maps.location_check import place_tracks, turn_tracks
from evenacre.io.season.told_by_logs import told_by_logs
from evenacre.io.tickets.load_tickets import match_ticket_clock, read_tickets
from evenacre.language import tr
from evenacre.model import UNDATED_S, Operation, OperationPlan, Track


def load_operation(plan: OperationPlan, *, width_needed: bool = True) -> Operation:
    """Read the files of an operation and check that they belong together.

    Without ``width_needed`` the width of the tool may stay unknown (``width_known``).
    Its warnings are the plan's and those that concern several files; what concerns one log
    stays with its tracks. InputError holds the problems of every file.
    """
    operation, problems = read_operation(plan, width_needed=width_needed)
    if problems:
        raise InputError(problems)
    return operation


def read_operation(
    plan: OperationPlan, *, width_needed: bool = True, seen: Seen | None = None
) -> tuple[Operation, list[Problem]]:
    """Read the files of an operation as far as they go, and collect what is wrong.

    ``seen`` is told what the columns of each log were taken for.
    """
    problems: list[Problem] = []
    notes, warnings = list(plan.notes), list(plan.warnings)
    tracks: list[Track] = []
    count, zone = len(plan.track_files), plan.time_zone
    layers = plan.track_layers or (plan.layer,) * count
    systems = plan.track_crs or (plan.crs,) * count
    for path, layer, crs in zip(plan.track_files, layers, systems, strict=True):
        with gathered(problems):
            read = read_tracks(
                path, columns=plan.columns, layer=layer, crs=crs, time_zone=zone, seen=seen
            )
            tracks += weigh_amounts(read, plan.applications)
        pa.default_memory_pool().release_unused()  # the cells of a log take more than its numbers
    tracks += weigh_amounts(plan.tracks, plan.applications)
    if not problems:
        with gathered(problems):
            plan, said = told_by_logs(plan, tracks, width_needed=width_needed)
            notes += said
    placed = turn_tracks(tracks)
    if plan.field.boundary is not None:
        with gathered(problems):
            placed, said = place_tracks(tracks, plan.field.boundary, field=plan.field.name)
            warnings += said
    blockages = plan.blockages
    for file in plan.blockage_files:
        with gathered(problems):
            stops, said = read_blockage_file(file)
            warnings += said
            blockages += blockages_of(stops, plan.implement, date=plan.date, time_zone=zone)
    blockages, said = match_clock(blockages, placed, zone)
    warnings += said
    for track in placed:  # logs of another day than the operation's
        days = dates_of(track.time_s[track.time_s > UNDATED_S], zone) if plan.date else []
        if days and plan.date not in days:
            shown = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
            warnings.append(
                tr(
                    "{source}: the log is of {shown}, the operation of {date}.",
                    source=track.source,
                    shown=shown,
                    date=plan.date,
                )
            )
    tickets = plan.tickets
    if plan.ticket_file is not None:
        with gathered(problems):
            weighed, found = read_tickets(plan.ticket_file, plan)
            tickets, said = match_ticket_clock((*tickets, *weighed), placed, zone)
            notes += found.notes
            warnings += found.warnings + said
    kept = {f.name: getattr(plan, f.name) for f in fields(Operation) if hasattr(plan, f.name)}
    kept |= {"tracks": placed, "blockages": blockages, "tickets": tickets}
    kept |= {"notes": tuple(notes), "warnings": tuple(dict.fromkeys(warnings))}
    return Operation(**kept), problems
