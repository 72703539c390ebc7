"""Records of fixes made from shapes: attributes repeated, tool state added."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import pyarrow as pa

from evenacre.io.logs.columns.column_roles import ColumnUse, Plan
from evenacre.io.logs.columns.records_table import Findings, Table
from evenacre.io.logs.columns.work_states import working_states
from evenacre.model import BoolArray, FloatArray, IntArray

_DOWN = "tool down"


@dataclass(frozen=True)
class RunFixes:
    """Fixes made from features.

    Attributes
    ----------
    feature : (m,) int
        Row of the feature each comes from.
    lon, lat : (m,) float
        Degrees.
    down : (m,) bool
        False where the tool is up between two runs.
    """

    feature: IntArray
    lon: FloatArray
    lat: FloatArray
    down: BoolArray


def run_table(
    table: Table,
    plan: Plan,
    fixes: RunFixes,
    findings: Findings,
    *,
    without: Collection[str],
    measured: Mapping[str, FloatArray] | None = None,
) -> tuple[Table, Plan]:
    """Give every fix the attributes of its feature.

    Parameters
    ----------
    table, plan : Table, Plan
        Of the features.
    fixes : RunFixes
    findings : Findings
    without : collection of str
        Roles that say something of the feature but not of its fixes.
    measured : mapping of str to (n,) float, optional
        SI values by role found from the shapes themselves, one per feature.
    """
    data = table.data.take(pa.array(fixes.feature))
    working = working_states(table, plan, findings)
    down = fixes.down if working is None else fixes.down & working[fixes.feature]
    uses = [use for use in plan.uses if use.role not in {*without, "work", *(measured or {})}]
    for role, values in (measured or {}).items():
        name = f"{role} of the shape"
        data = data.append_column(name, pa.array(values[fixes.feature]))
        uses.append(ColumnUse(role, "", name, 1.0, asked=True))
    data = data.append_column(_DOWN, pa.array(down))
    uses.append(ColumnUse("work", "", _DOWN, None, asked=True))
    moving = Table(
        table.file, data, lambda row: table.place(int(fixes.feature[row])), table.decimal_comma
    )
    return moving, Plan(tuple(uses))
