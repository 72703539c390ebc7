"""Dates and times of day told in parts: columns of year, month and day, hour, minute, second."""

from __future__ import annotations

from dataclasses import replace

import pyarrow as pa
import pyarrow.compute as pc

from evenacre.io.common.findings import Findings
from evenacre.io.common.suggestions import listed
from evenacre.io.logs.columns.column_roles import (
    CLOCK_PARTS,
    DATE_PARTS,
    ColumnPlan,
    ColumnUse,
)
from evenacre.io.tables.record_table import RecordTable
from evenacre.language import tr


def joined_dates(
    table: RecordTable, plan: ColumnPlan, findings: Findings
) -> tuple[RecordTable, ColumnPlan]:
    """Join the parts of dates and times into one column each, where no column has them whole."""
    for role, parts, mark in (("date", DATE_PARTS, "-"), ("time", CLOCK_PARTS, ":")):
        uses = [use for part in parts if (use := plan.get(part)) is not None]
        if not uses:
            continue
        cells = [_digits(table, use, findings) for use in uses]
        name = ", ".join(use.column for use in uses)
        findings.note(
            tr(
                "{file}: columns {listed} taken together as the {role}.",
                file=table.file,
                listed=listed(use.column for use in uses),
                role=role,
            )
        )
        table = replace(
            table, data=table.data.append_column(name, pc.binary_join_element_wise(*cells, mark))
        )
        plan = ColumnPlan((*plan.uses, ColumnUse(role, "", name, None, asked=False)))
    return table, plan


def _digits(table: RecordTable, use: ColumnUse, findings: Findings) -> pa.Array:
    """Numbers as text, small ones with a zero before them."""
    values = pa.array(table.numbers(use.column, use.role, findings), from_pandas=True)
    if use.role == "second" and pc.any(pc.not_equal(values, pc.floor(values))).as_py():
        texts = pc.cast(values, pa.string())
        return pc.if_else(pc.less(values, 10), pc.binary_join_element_wise("0", texts, ""), texts)
    return pc.utf8_lpad(pc.cast(pc.cast(values, pa.int64(), safe=False), pa.string()), 2, "0")
