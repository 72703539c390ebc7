"""Two audits of a field side by side, as one HTML page that opens without a network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from evenacre.language import tr
from evenacre.reports.maps.compared import Layers, compared_maps
from evenacre.reports.pages.frame import page
from evenacre.reports.quantities import Display
from evenacre.reports.tables.compared import compared_tables
from evenacre.units.display import UnitSystem

_KEYS = ("one", "other")
_SAME = 0.001  # of the ground to be worked: more tells that another outline was used


def comparison_page(
    records: tuple[Mapping[str, Any], Mapping[str, Any]],
    layers: tuple[Layers, Layers],
    about: tuple[str, str],
    units: UnitSystem,
) -> str:
    """Render a comparison.

    Parameters
    ----------
    records : pair of mappings
        Figures of each operation, by key, in SI.
    layers : pair of mappings
        Layers of each, EPSG:4326; see `compared_maps`.
    about : (str, str)
        What tells the two apart, for people.
    units : UnitSystem
    """
    fields = list(dict.fromkeys(str(record.get("field")) for record in records))
    return page(
        "comparison.html.j2",
        title=tr(" and ").join(fields),
        about=tr("two audits side by side"),
        sides=[*zip(_KEYS, about, compared_maps(records, layers, units), strict=True)],
        warnings=_warnings(records, fields),
        tables=compared_tables(*records, about, Display(units)),
        inputs=(),
    )


def _warnings(records: Sequence[Mapping[str, Any]], fields: Sequence[str]) -> list[str]:
    """What has to be known before the two are held against one another."""
    told = []
    if len(fields) > 1:
        told.append(tr("These are audits of two fields."))
    ground = [record.get("workable_area_m2") for record in records]
    numbers = [area for area in ground if isinstance(area, int | float)]
    if len(numbers) == 2 and abs(numbers[0] - numbers[1]) > _SAME * max(numbers):
        told.append(
            tr(
                "The ground to be worked is not the same in both: another outline, or other "
                "ground left out of it. Compare shares rather than areas."
            )
        )
    if not all(record.get("tells_places", True) for record in records):
        told.append(
            tr(
                "Of one of them the log cannot tell what lies between the passes: what was "
                "covered twice or missed there cannot be compared."
            )
        )
    return told
