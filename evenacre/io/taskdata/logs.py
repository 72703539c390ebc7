"""One time log (TLG): its template and its binary records, checked and taken apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from xml.etree.ElementTree import Element

import numpy as np

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings, counted
from evenacre.io.taskdata import ddis
from evenacre.io.taskdata.clock import Stamps, read_stamps
from evenacre.io.taskdata.folder import TaskFiles
from evenacre.io.taskdata.records import (
    Logged,
    held,
    read_heads,
    read_values,
    record_starts,
)
from evenacre.io.taskdata.template import Column, Template, read_template
from evenacre.io.taskdata.tree import parse_xml, text
from evenacre.model import FloatArray, IntArray

_BYTES_PER_RECORD, _BYTES_PER_VALUE, _BYTES_PER_STATE = 80, 8, 2
_MAX_BYTES = 500 * 1024**2
_MAX_TEMPLATE_BYTES = 1024**2
_SHOWN = 8


@dataclass
class Room:
    """How much may still be read at once, so that no file fills the memory."""

    label: str
    left: int = _MAX_BYTES

    def take(self, records: int, columns: Iterable[Column]) -> None:
        """Count records with values in some columns as read.

        Raises
        ------
        InputError
            When there is no room for them.
        """
        used = [column.ddi or 0 for column in columns]
        groups = [d - ddis.CONDENSED_STATES.start + 1 for d in used if d in ddis.CONDENSED_STATES]
        states = ddis.STATES_PER_VALUE * max(groups, default=0)
        self.left -= records * (
            _BYTES_PER_RECORD + _BYTES_PER_VALUE * len(used) + _BYTES_PER_STATE * states
        )
        if self.left < 0:
            raise InputError.at(
                self.label,
                "",
                "its time logs are too large to be read at once.",
                "Export fewer tasks at a time, or name one task as the layer.",
            )


@dataclass(frozen=True)
class Log:
    """The records of one time log.

    Attributes
    ----------
    name : str
    columns : tuple of Column
    stamps : Stamps
        n of them.
    logged : dict of int to Logged
        Values by index of column, of the columns that are used and were ever logged.
    seen : (256,) int
        How many values were logged by index of column, used or not.
    """

    name: str
    columns: tuple[Column, ...]
    stamps: Stamps
    logged: dict[int, Logged]
    seen: IntArray

    def __len__(self) -> int:
        return len(self.stamps.time_s)

    def indices(self, ddi: int) -> list[int]:
        """Return the columns of an identifier that hold any value."""
        return [
            i
            for i, column in enumerate(self.columns)
            if column.ddi == ddi and (i in self.logged or column.fixed is not None)
        ]

    def values(self, index: int) -> FloatArray:
        """Return the raw values of a column, each held until the next; NaN before the first."""
        fixed = self.columns[index].fixed
        before = np.nan if fixed is None else float(fixed)
        return held(self.logged.get(index), len(self), before)


def read_log(
    files: TaskFiles, element: Element, time_zone: str | None, room: Room, findings: Findings
) -> Log | None:
    """Read a time log; None (and a warning) when there is nothing in it.

    Raises
    ------
    InputError
        When one of its files is damaged beyond use.
    """
    name = text(element, "A")
    about = f"{files.label}, {name}"
    missing = [f"{name}{end}" for end in (".XML", ".BIN") if not files.has(f"{name}{end}")]
    if missing:
        findings.warn(f"{about}: {' and '.join(missing)} missing; the log was left out.")
        return None
    template = read_template(parse_xml(files, f"{name}.XML", _MAX_TEMPLATE_BYTES), about, findings)
    if template is None:
        return None
    data = np.frombuffer(files.read(f"{name}.BIN"), dtype=np.uint8)
    head = template.head.itemsize
    starts, rest = record_starts(data, head)
    if rest:
        findings.warn(
            f"{about}: it breaks off within a record; the last {counted(rest, 'byte', 'were')} "
            "left out."
        )
    if not len(starts):
        findings.warn(f"{about}: there is no record in it.")
        return None
    wanted = {i for i, column in enumerate(template.columns) if column.ddi in ddis.USED}
    room.take(len(starts), [template.columns[i] for i in wanted])
    logged, seen = read_values(data, starts, head, wanted)
    _tell_of_others(template, seen, about, findings)
    stamps = read_stamps(
        read_heads(data, starts, template.head), template, time_zone, about, findings
    )
    return Log(name, template.columns, stamps, logged, seen)


def _tell_of_others(template: Template, seen: IntArray, about: str, findings: Findings) -> None:
    """Say which values were logged and are not used."""
    beyond = int(seen[len(template.columns) :].sum())
    if beyond:
        findings.warn(
            f"{about}: {counted(beyond, 'value', 'belong')} to no column of its template and were "
            "left out; the log may be damaged."
        )
    others: dict[int | None, int] = {}
    for column, count in zip(template.columns, seen, strict=False):
        if count and column.ddi not in ddis.USED and column.ddi not in ddis.NOT_WEIGHED:
            others[column.ddi] = others.get(column.ddi, 0) + int(count)
    if others:
        shown = [
            f"{'unnamed' if key is None else key} ({count:,})"
            for key, count in sorted(others.items(), key=lambda item: -item[1])
        ]
        more = f" and {len(shown) - _SHOWN} more" if len(shown) > _SHOWN else ""
        findings.note(
            f"{about}: values not used, by data dictionary number: "
            f"{', '.join(shown[:_SHOWN])}{more}."
        )
