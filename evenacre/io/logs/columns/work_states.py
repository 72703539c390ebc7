"""Work and section states, however they are written."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from evenacre.errors import InputError
from evenacre.io.common.arrow_arrays import bools, coded
from evenacre.io.common.findings import FEW, Findings, one_line
from evenacre.io.logs.columns.column_roles import (
    AMOUNTS,
    ColumnPlan,
    ColumnUse,
    tells_lifting,
)
from evenacre.io.tables.headers import read_header
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr, trn
from evenacre.model import BoolArray, FloatArray
from evenacre.units.parsing import plain_number

_ON = (
    *("on", "true", "yes", "y", "t", "1", "working", "work", "worked", "active", "engaged"),
    *("enabled", "applying", "application", "down", "lowered", "in work", "in_work", "open"),
    *("sowing", "seeding", "spreading", "running", "started"),
)
_OFF = (
    *("off", "false", "no", "n", "f", "0", "idle", "not working", "inactive", "disengaged"),
    *("disabled", "up", "raised", "lifted", "transport", "parked", "turning", "stopped", "closed"),
    *("out of work", "not_working", "headland turn", "stop"),
)

# Under a name such as "Lifted" these tell that the tool is up, or not; other words say where it is.
_YES_OR_NO = {"on", "off", "true", "false", "yes", "no", "y", "n", "t", "f", "active", "inactive"}
_LOOKED_AT = 2_000
_MOST_SPELLINGS = 4  # of on and off in one column
# More digits than any tool has rows are no states.
_MOST_SECTIONS = 1000


def working_states(table: RecordTable, plan: ColumnPlan, findings: Findings) -> BoolArray | None:
    """Work state of each record, or None when none is logged.

    Raises
    ------
    InputError
        When the person named the column and it holds no states.
    """
    use = plan.get("work")
    return None if use is None else _states(table, use, findings)


def ask_for_states(table: RecordTable, plan: ColumnPlan, findings: Findings) -> None:
    """Ask about columns that hold states but not by their name, where none tells of work.

    Zeros and ones may be anything; they are asked about where no amount tells of work either.
    """
    if any(map(plan.get, ("work", "section", "row", "sections", "rows"))):
        return
    used = {use.column for use in plan.uses}
    amounts = any(map(plan.get, AMOUNTS))
    start = replace(table, data=table.data.slice(0, _LOOKED_AT))
    for name in table.names:
        # Most columns show at once that they hold something else.
        if name in used or not (_are_bits(_words(start, name)) or _are_states(_words(start, name))):
            continue
        words = _words(table, name)
        states = {word: _word_state(word) for word in words}
        if len(words) > 1 and _are_bits(words) and any(word[0] == "0" for word in words):
            findings.warn(
                tr(
                    '{about} holds rows of 0 and 1, such as "{one_line}"; if they are the '
                    "states of sections from the left, give --column 'sections={name}'.",
                    about=table.about(name),
                    one_line=one_line(words[0]),
                    name=name,
                )
            )
        elif _are_states(words) and {*states.values()} == {0.0, 1.0}:
            if amounts and table.holds_numbers(name):
                continue
            on, off = (next(w for w, is_on in states.items() if is_on == s) for s in (1.0, 0.0))
            findings.warn(
                tr(
                    '{about} holds "{on}" and "{off}"; if "{on}" tells that the tool was at '
                    "work, give --column 'work={name}'.",
                    about=table.about(name),
                    on=on,
                    off=off,
                    name=name,
                )
            )


def _words(table: RecordTable, column: str) -> list[str]:
    return [str(w) for w in pc.unique(pc.drop_null(pc.utf8_lower(table.text(column)))).to_pylist()]


def _are_bits(words: list[str]) -> bool:
    return all(re.fullmatch("[01]{2,}", word) for word in words)


def _are_states(words: list[str]) -> bool:
    return len(words) <= _MOST_SPELLINGS and all(_word_state(word) in (0.0, 1.0) for word in words)


def section_states(
    table: RecordTable, plan: ColumnPlan, findings: Findings
) -> tuple[BoolArray | None, bool]:
    """States of sections or rows, ``(n, s)`` from the left, and whether they are rows.

    Raises
    ------
    InputError
        When columns the person named hold no states or leave a number out.
    """
    for role in ("row", "section"):
        uses = sorted(plan.all(role), key=lambda use: int(use.key))
        if not uses:
            continue
        numbers = [int(use.key) for use in uses]
        if numbers != list(range(1, len(uses) + 1)):
            missing = next(n for n in range(1, len(uses) + 2) if n not in numbers)
            raise InputError.at(
                "columns",
                f"{role}:{numbers[-1]}",
                tr("{role} {missing} has no column.", role=role, missing=missing),
                tr("Name the column of every {role} from 1 at the left.", role=role),
            )
        states = [_states(table, use, findings) for use in uses]
        if all(s is not None for s in states):
            return np.column_stack([s for s in states if s is not None]), role == "row"
    for role in ("rows", "sections"):
        use = plan.get(role)
        bits = None if use is None else _bits(table, use, findings)
        if bits is not None:
            return bits, role == "rows"
    return None, False


def _states(table: RecordTable, use: ColumnUse, findings: Findings) -> BoolArray | None:
    """One column of states; None when a guessed column holds something else."""
    if use.role == "work" and tells_lifting(read_header(use.column)):
        values = _down_by_lifting(table, use, findings)
    else:
        values = _state_numbers(table, use, findings)
    if values is None:
        return None
    missing = np.isnan(values)
    if missing.all():
        findings.warn(
            tr(
                "{about} ({meaning}) is empty: not used.",
                about=table.about(use.column),
                meaning=use.meaning,
            )
        )
        return None
    if missing.any():
        findings.warn(
            tr(
                '{file}: {empty_cells} in column "{column}" ({meaning}): the state before '
                "holds on.",
                file=table.file,
                empty_cells=trn("{count:,} empty cell", "{count:,} empty cells", missing.sum()),
                column=use.column,
                meaning=use.meaning,
            )
        )
        last = np.maximum.accumulate(np.where(missing, -1, np.arange(len(values))))
        values = np.where(last >= 0, values[np.maximum(last, 0)], 0.0)
    return np.asarray(values > 0, dtype=bool)


def _down_by_lifting(table: RecordTable, use: ColumnUse, findings: Findings) -> FloatArray | None:
    """Work by a column that tells when the tool was up; None where it tells heights unasked."""
    told = [word for word in _words(table, use.column) if word not in _YES_OR_NO]
    numbers, about = [plain_number(word) for word in told], table.about(use.column)
    if any(number not in (None, 0.0, 1.0) for number in numbers) and not use.asked:
        findings.warn(
            tr(
                "{about} was not used as work: its name tells when the tool was up, but it holds "
                "other numbers than 0 and 1.",
                about=about,
            )
        )
        return None
    values = _state_numbers(table, use, findings)
    if values is None or any(number is None for number in numbers):
        return values
    findings.warn(
        tr(
            "{about} tells by its name when the tool was up: where it is 1 (or yes) no work is "
            "counted. If it tells the opposite, turn it round; to leave it out, give --column "
            "work=.",
            about=about,
        )
    )
    return np.where(np.isnan(values), np.nan, values <= 0)


def _state_numbers(table: RecordTable, use: ColumnUse, findings: Findings) -> FloatArray | None:
    """Above 0: on; 0: off; NaN: not given."""
    codes, words = coded(pc.utf8_lower(table.text(use.column)))
    values: FloatArray = np.array([*map(_word_state, words), np.nan])[codes]
    other = values[np.isfinite(values) & (values != 0) & (values != 1)]
    if other.size:
        said = tr(
            "{about} ({meaning}) holds other numbers than 0 and 1; those ",
            about=table.about(use.column),
            meaning=use.meaning,
        )
        said += tr("above 0 are taken as on.")
        known = np.unique(values[np.isfinite(values)])
        if 1 < len(known) <= _MOST_SPELLINGS and known.min() > 0:
            findings.warn(
                tr(
                    "{said} That is all of them, so it tells of no time at which the tool "
                    "was up: if one of its numbers does, write 0 for it.",
                    said=said,
                )
            )
        else:
            findings.note(said)
    unknown = np.isinf(values)
    filled = int((codes >= 0).sum())
    if unknown.sum() > FEW * filled and not use.asked:
        found = one_line(table.text(use.column)[int(np.flatnonzero(unknown)[0])])
        findings.warn(
            tr(
                '{about} was not used as {meaning}: "{found}" at {first} is not a state.',
                about=table.about(use.column),
                meaning=use.meaning,
                found=found,
                first=table.first(unknown),
            )
        )
        return None
    table.judge(
        use.column,
        unknown,
        filled,
        findings,
        wrong=tr("is not a state ({meaning}).", meaning=use.meaning),
        few=tr(
            "{cells} without a state, taken as missing",
            cells=trn("{count:,} cell", "{count:,} cells", unknown.sum()),
        ),
        remedy=tr("States are written 1/0, on/off, true/false, yes/no or working/idle."),
    )
    return np.where(unknown, np.nan, values)


def _word_state(word: str) -> float:
    """Read one state; infinite when it is none."""
    if word in _ON:
        return 1.0
    if word in _OFF:
        return 0.0
    number = plain_number(word)
    return np.inf if number is None else number


def _bits(table: RecordTable, use: ColumnUse, findings: Findings) -> BoolArray | None:
    """One column of strings such as ``111011``, one digit a section from the left."""
    texts = table.text(use.column)
    joined = pc.replace_substring_regex(texts, r"\.0$|[\s,;|/_\-]", "")
    filled = pc.fill_null(joined, "")
    good = pc.or_(pc.is_null(joined), pc.match_substring_regex(filled, "^[01]+$"))
    bad = ~bools(good)
    count = int(pc.max(pc.utf8_length(filled)).as_py() or 0)
    if bad.any() or not 2 <= count <= _MOST_SECTIONS:
        odd = bad if bad.any() else np.asarray(pc.equal(pc.utf8_length(filled), count))
        row = int(np.flatnonzero(odd)[0])
        if not use.asked:
            findings.note(
                tr(
                    '{about} was not used as the states of {role}: "{one_line}" at {place} '
                    "is not a row of 0 and 1.",
                    about=table.about(use.column),
                    role=use.role,
                    one_line=one_line(texts[row]),
                    place=table.place(row),
                )
            )
            return None
        raise InputError.at(
            table.file,
            tr('{place}, column "{column}"', place=table.place(row), column=use.column),
            tr(
                '"{one_line}" is not a row of 0 and 1 ({meaning}).',
                one_line=one_line(texts[row]),
                meaning=use.meaning,
            ),
            tr("Write one 0 or 1 for each from the left, such as 111011."),
        )
    lengths = pc.utf8_length(filled).to_numpy(zero_copy_only=False)
    if (lengths[lengths > 0] < count).any():
        findings.warn(
            tr(
                "{about} has values of fewer than {count} digits; zeros lost at the left are "
                "put back.",
                about=table.about(use.column),
                count=count,
            )
        )
    padded = pa.array(pc.utf8_lpad(filled, count, "0"), pa.string())
    digits = np.frombuffer("".join(padded.to_pylist()).encode(), dtype=np.uint8)
    return np.asarray(digits.reshape(-1, count) == ord("1"), dtype=bool)
