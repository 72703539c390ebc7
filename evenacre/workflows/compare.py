"""Two audits of a field, read back from their folders, side by side."""

from __future__ import annotations

from pathlib import Path

from evenacre.io.maps.stored_result import StoredOperation, stored_operation
from evenacre.reports.pages.comparison import comparison_page
from evenacre.units.display import UnitSystem


def compare_audits(one: tuple[Path, int], other: tuple[Path, int], units: UnitSystem) -> str:
    """Make the page that shows two audited operations side by side.

    Parameters
    ----------
    one, other : (Path, int)
        The folder of an audit, and the place of the operation in it.
    units : UnitSystem
        Of the figures.

    Returns
    -------
    str
        HTML that opens without a network.

    Raises
    ------
    InputError
        When either cannot be read.
    """
    first, second = (stored_operation(*place) for place in (one, other))
    return comparison_page(
        (first.record, second.record),
        (first.layers, second.layers),
        (_called(first), _called(second)),
        units,
    )


def _called(one: StoredOperation) -> str:
    told = (one.record.get("date"), one.record.get("operation"))
    return " ".join(str(word) for word in told if word)
