"""Make grazing of a season's tables: herd, round of paddocks, moves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from evenacre.io.common.problem_collector import KeyPath
from evenacre.io.common.suggestions import listed
from evenacre.io.season.checks import SWAP, is_defined, is_new
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.paddocks import PaddockBuilder, Paddocks
from evenacre.io.season.pasture.schema import GrazingTable, HerdTable, MoveTable
from evenacre.io.season.schema import SeasonTable
from evenacre.model import Field, Grazing, HerdClass, Paddock, Stay

_HOW_TO_COMPUTE = "or decide the moves under [[move]]."
_ROUND = ("start", "end", "order")


class GrazingBuilder:
    """Puts herd, paddocks and moves together."""

    def __init__(self, top: SeasonTable, files: SeasonFiles) -> None:
        self.top, self.problems = top, files.problems
        written = {} if top.grazing is None else top.grazing
        table = self.problems.check(GrazingTable, written, ("grazing",))
        self.readable = table is not None
        self.table = table or GrazingTable()
        self.written: Mapping[str, Any] = written if isinstance(written, Mapping) else {}
        self.files = files
        self.warnings: list[str] = []

    def build(self, fields: Mapping[str, Field | None]) -> tuple[Grazing, Paddocks]:
        """Make the grazing, as far as it goes, and the paddocks by name."""
        paddocks = PaddockBuilder(self.files, fields, self.table).build(
            self.top.paddocks, self.top.paddock
        )
        if not paddocks.made and paddocks.all_known:
            remedy = 'Add [paddocks] with file = "paddocks.gpkg", or [[paddock]].'
            self.problems.add(("paddock",), "There is no paddock.", remedy)
        herd = self._herd()
        moves = self._moves(paddocks)
        given = [key for key in _ROUND if key in self.written]
        if self.top.move and given:
            keys = " and ".join(given)
            what = f"The moves are decided under [[move]], so {keys} cannot be kept."
            self.problems.add(("grazing", given[0]), what, f"Take out {keys}, or the moves.")
        elif self.readable and not self.top.move:
            self._check_computable(paddocks)
        start, end = self.table.start, self.table.end
        if start is not None and end is not None and end <= start:
            what = f"Grazing ends on {end}, but starts only on {start}."
            self.problems.add(("grazing", "end"), what, SWAP)
        grazing = Grazing(
            herd=tuple(herd),
            paddocks=self._in_order(paddocks, moves),
            start=None if moves else start,
            end=None if moves else end,
            moves=tuple(moves),
        )
        if self.table.rest is not None:
            grazing = replace(grazing, rest_days=self.table.rest)
        return grazing, paddocks

    def _herd(self) -> list[HerdClass]:
        made: dict[str, HerdClass] = {}
        for index, entry in enumerate(self.top.herd):
            path: KeyPath = ("herd", index)
            table = self.problems.check(HerdTable, entry, path)
            if table is None:
                continue
            is_new(table.kind, made, self.problems, (*path, "class"))
            eaten = table.intake.kg_per_day(table.weight)
            made[table.kind] = HerdClass(table.kind, table.head, table.weight, eaten)
        return list(made.values())

    def _moves(self, paddocks: Paddocks) -> list[Stay]:
        """Return the decided moves in order of time."""
        made: list[tuple[Stay, int]] = []
        for index, entry in enumerate(self.top.move):
            path: KeyPath = ("move", index)
            table = self.problems.check(MoveTable, entry, path)
            if table is None:
                continue
            self._check_known(table.paddock, (*path, "paddock"), paddocks)
            if table.leave <= table.enter:
                what = f"The herd leaves on {table.leave}, but enters only on {table.enter}."
                remedy = "Change them over, or correct one; it stays for one day at least."
                self.problems.add((*path, "leave"), what, remedy)
                continue
            made.append((Stay(table.paddock, table.enter, table.leave), index))
        made.sort(key=lambda one: (one[0].enter, one[0].leave))
        before: Stay | None = None
        for after, index in made:
            if before is not None and after.enter < before.leave:
                self.problems.add(
                    ("move", index, "enter"),
                    f'The herd enters "{after.paddock}" on {after.enter}, but leaves '
                    f'"{before.paddock}" only on {before.leave}.',
                    "Correct one: it cannot be in two places.",
                )
            # Of all earlier stays the one that lasts longest is in the way, not only the last.
            if before is None or after.leave > before.leave:
                before = after
        return [stay for stay, _ in made]

    def _check_known(self, name: str, path: KeyPath, paddocks: Paddocks) -> None:
        if paddocks.all_known:
            is_defined(name, "paddock", paddocks.made, self.problems, path)

    def _check_computable(self, paddocks: Paddocks) -> None:
        """Complain of what is missing to compute the moves from."""
        if not self.top.herd and "start" not in self.written:
            what = "Neither the herd's moves are given nor what to compute them from."
            remedy = f"Add [[herd]], and start and forage under [grazing], {_HOW_TO_COMPUTE}"
            self.problems.add(("grazing",), what, remedy)
            return
        if not self.top.herd:
            what = "There is no herd, so its moves cannot be computed."
            self.problems.add(("herd",), what, f"Add [[herd]], {_HOW_TO_COMPUTE}")
        if "start" not in self.written:
            what = "The day the herd enters the first paddock is missing."
            remedy = f"Add start = 2026-08-04, {_HOW_TO_COMPUTE}"
            self.problems.add(("grazing", "start"), what, remedy)
        lacking = [
            name
            for name, paddock in paddocks.made.items()
            if paddock is not None
            and paddock.forage_kg_per_m2 is None
            and "forage" not in {*self.written, *paddocks.written.get(name, ())}
        ]
        if lacking:
            self.problems.add(
                ("grazing", "forage"),
                f"How much forage stands on {listed(lacking)} is missing, so the moves cannot "
                "be computed.",
                f'Add forage = "1800 lb/ac" here or under [[paddock]], {_HOW_TO_COMPUTE}',
            )

    def _in_order(self, paddocks: Paddocks, moves: Sequence[Stay]) -> tuple[Paddock, ...]:
        """Paddocks in the order they are grazed; the file's order where nothing else is said."""
        names = list(paddocks.made)
        order = self.table.order
        if moves:
            names = list(dict.fromkeys([*(stay.paddock for stay in moves), *names]))
        elif order is not None:
            names = list(self._ordered(order, paddocks))
        made = (paddocks.made.get(name) for name in names)
        return tuple(paddock for paddock in made if paddock is not None)

    def _ordered(self, order: Sequence[str], paddocks: Paddocks) -> Iterator[str]:
        seen: set[str] = set()
        for index, name in enumerate(order):
            place = ("grazing", "order", index)
            self._check_known(name, place, paddocks)
            if name in seen:
                what = f'"{name}" is listed twice.'
                self.problems.add(place, what, "Name each paddock once; rounds are repeated.")
            else:
                seen.add(name)
                yield name
        left_out = [name for name in paddocks.made if name not in seen]
        if not order:
            what, remedy = "The list is empty.", "Name the paddocks in the order they are grazed."
            self.problems.add(("grazing", "order"), what, remedy)
        elif left_out:
            self.warnings.append(
                f"The order of grazing leaves out {listed(left_out)}: the herd does not go there, "
                "and they are not planned."
            )
