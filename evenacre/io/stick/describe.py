"""Say what was found in a file: what a person wants to know before going on with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from evenacre.geo.geodesy import WGS84_GEOD, geodesic_area_m2, step_m
from evenacre.io.common.findings import counted
from evenacre.io.common.suggestions import listed
from evenacre.io.logs.columns.clock import dates_of
from evenacre.io.maps.field_layers import NAME_COLUMNS, names_of
from evenacre.io.stick.identify import Found, Kind, bounds_of
from evenacre.io.taskdata.read import TaskData
from evenacre.model import UNDATED_S, FloatArray, Track
from evenacre.units.display import in_both

_MOST_NAMES = 8


def told(found: Found, label: str) -> list[str]:
    """What is known of a file or layer, a heading first; of what is not used, why."""
    about = f'{label}, layer "{found.layer}"' if found.layer else label
    if found.kind is Kind.LOG:
        return [line for track in found.tracks for line in _of_track(track, about, found.tracks)]
    if found.kind is Kind.MAP:
        return list(_of_map(found, about))
    if found.tasks is not None:
        return list(_of_tasks(found.tasks, about))
    if found.kind is Kind.TICKETS:
        products = listed(dict.fromkeys(r.product for r in found.tickets if r.product), mark="")
        named = f" of {products}" if products else ""
        return [f"{about}: {counted(len(found.tickets), 'load ticket')}{named}."]
    if found.kind is Kind.BLOCKAGES:
        return [f"{about}: {counted(len(found.blockages), 'blockage')} of rows."]
    if found.kind is Kind.UNKNOWN:
        return [f"error: {about}: {found.why}"]
    return [f"{about}: {found.kind.value}." + (f" {found.why}" if found.why else "")]


def said_of(found: Found) -> tuple[list[str], list[str]]:
    """Warnings and notes of its readers, each once."""
    tasks = found.tasks.tasks if found.tasks else ()
    tracks = [*found.tracks, *(track for task in tasks for track in task.tracks)]
    warnings = [*found.warnings, *(text for task in tasks for text in task.warnings)]
    notes = [text for task in tasks for text in task.notes]
    for track in tracks:
        warnings += track.warnings
        notes += track.notes
    return list(dict.fromkeys(warnings)), list(dict.fromkeys(notes))


def next_step(found: Sequence[Found], path: Path) -> str:
    """The command to go on with, in a sentence; empty where there is none."""
    name = _quoted(str(path))
    layer = next((f.layer for f in found if f.kind is Kind.LOG and f.layer), None)
    kinds = {f.kind for f in found}
    if Kind.LOG in kinds:
        several = sum(f.layer is not None for f in found) > 1
        words = f"audit {name}" + (f" --tracks-layer {_quoted(layer)}" if several and layer else "")
        told_width = any(_width_m(t) for f in found for t in f.tracks)
        width = "" if told_width else ' --width "20 ft", with the width of the machine'
        return f"Go on with: evenacre {words}{width}"
    if Kind.TASK_DATA in kinds:
        logged = any(t.tracks for f in found if f.tasks for t in f.tasks.tasks)
        if not logged:
            return "It is a plan: give it to the machine, and audit what comes back with its logs."
        return f"Go on with: evenacre audit {name}"
    if Kind.MAP in kinds:
        return (
            f"Go on with: evenacre audit LOG --boundary {name}, or put it beside your logs and "
            "let `evenacre gather FOLDER` match them."
        )
    if Kind.TICKETS in kinds:
        return f'Name it in an operation of the season file: loads = "{path.name}".'
    if Kind.BLOCKAGES in kinds:
        return f'Name it in an operation of the season file: blockages = "{path.name}".'
    return ""


def time_span(time_s: FloatArray) -> str:
    """First and last time, as the log's own clock has them."""
    known = time_s[np.isfinite(time_s)]
    first, last = float(known.min()), float(known.max())
    ends = [datetime.fromtimestamp(end, UTC) for end in (first, last)]
    if first < UNDATED_S:
        return f"{ends[0]:%H:%M:%S} to {ends[1]:%H:%M:%S} (no date is told)"
    same = ends[0].date() == ends[1].date()
    return f"{ends[0]:%Y-%m-%d %H:%M:%S} to {ends[1]:{'%H:%M:%S' if same else '%Y-%m-%d %H:%M:%S'}}"


def _of_track(track: Track, about: str, beside: Sequence[Track]) -> Iterator[str]:
    machine = track.source.rpartition(", ")[2] if len(beside) > 1 else ""
    held = counted(len(track), "record")
    if track.in_file:
        held = f"{counted(track.in_file, 'record')} of {counted(len(track), 'time')}"
    yield f"{about}{f', {machine}' if machine else ''}: log of {held}."
    if track.timed:
        steps = np.diff(np.unique(track.time_s[np.isfinite(track.time_s)]))
        every = f", one each {np.median(steps):g} s" if len(steps) else ""
        yield f"  Times: {time_span(track.time_s)}{every}."
        days = dates_of(track.time_s[track.time_s > UNDATED_S], None)
        if len(days) > 1:
            yield f"  Days: {listed(days, _MOST_NAMES, mark='')}."
    else:
        yield "  Times: none; the order of the file is taken for that of the drive."
    if (bounds := bounds_of(Found(Kind.LOG, tracks=(track,)))) is not None:
        yield f"  Place: {_place(bounds)}; {in_both('distance', _driven_m(track))} driven."
    width = _width_m(track)
    yield (
        f"  Working width: {in_both('length', width)}."
        if width
        else '  Working width: not told; give it with --width "20 ft".'
    )
    if track.sections is not None:
        noun = "row" if track.sections_are_rows else "section"
        yield f"  States of {counted(track.sections.shape[1], noun)}."
    elif track.working is not None:
        yield f"  Working in {100 * track.working.mean():.0f} % of its records."
    else:
        yield "  No work state; it is taken as working wherever it drives."
    amounts = [
        f"{name or 'product not named'} {in_both('rate', _median(values))}"
        for name, values in track.rates.items()
    ]
    amounts += [f"{name or 'product not named'} as a flow" for name in track.flows]
    yield f"  Products: {'; '.join(amounts)}." if amounts else "  Products: none are told."


def _of_map(found: Found, about: str) -> Iterator[str]:
    assert found.shapes is not None
    shapes = found.shapes
    kind = str(shapes.geom_type.mode()[0]).removeprefix("Multi").lower()
    names = [name for name in names_of(shapes, ("zone", "field", *NAME_COLUMNS)) if name]
    called = f" ({listed(dict.fromkeys(names), _MOST_NAMES, mark='')})" if names else ""
    yield f"{about}: map of {counted(len(shapes), kind)}{called}."
    columns = shapes.columns.drop(shapes.geometry.name)
    if len(columns):
        yield f"  Columns: {listed(columns, mark='')}."
    if (bounds := bounds_of(found)) is not None:
        area = sum(geodesic_area_m2(shape) for shape in shapes.geometry if shape.area)
        size = f"; {in_both('area', area)} together" if area else ""
        yield f"  Place: {_place(bounds)}{size}."


def _of_tasks(data: TaskData, about: str) -> Iterator[str]:
    farm = f" of {data.farm}" if data.farm else ""
    fields, tasks = len(data.fields), len(data.tasks)
    yield f"{about}: task data{farm}: {counted(fields, 'field')}, {counted(tasks, 'task')}."
    for field in list(data.fields.values())[:_MOST_NAMES]:
        drawn = field.boundary
        size = in_both("area", geodesic_area_m2(drawn)) if drawn is not None else "no boundary"
        yield f"  Field {field.name}: {size}."
    for task in data.tasks:
        records = sum(len(track) for track in task.tracks)
        where = data.fields[task.field_id].name if task.field_id else "no field named"
        logged = counted(records, "record") if records else "no log"
        placed = f"; {listed(task.products, mark='')}" if task.products else ""
        wide = f"; {in_both('length', task.implement.width_m)} wide" if task.implement else ""
        yield f"  Task {task.name} ({task.id}), {where}: {logged}{placed}{wide}."


def _place(bounds: tuple[float, float, float, float]) -> str:
    west, south, east, north = bounds
    lon, lat = (west + east) / 2, (south + north) / 2
    wide = WGS84_GEOD.inv(west, lat, east, lat)[2]
    high = WGS84_GEOD.inv(lon, south, lon, north)[2]
    return (
        f"around {lat:.5f}, {lon:.5f} (latitude, longitude), {in_both('length', wide)} by "
        f"{in_both('length', high)}"
    )


def _driven_m(track: Track) -> float:
    return float(np.nansum(step_m(track.lon, track.lat)))


def _width_m(track: Track) -> float | None:
    if track.width_m is None or not (known := track.width_m[track.width_m > 0]).size:
        return None
    return float(known.max())


def _median(values: FloatArray) -> float:
    known = values[values > 0]
    return float(np.median(known)) if known.size else 0.0


def _quoted(text: str) -> str:
    return f'"{text}"' if " " in text else text
