"""The interactive map as three pieces of a page: element, data and script.

Folium lays out the map and its layer groups; its own page, which fetches scripts and
styles from the network, is left aside.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from jinja2 import Template
from markupsafe import Markup

from evenacre.model.audit_result import AuditResult
from evenacre.reports.maps.folium_offline import MacroElement, folium
from evenacre.reports.maps.interactive_layers import MapLayer, map_layers
from evenacre.units.display import UnitSystem

_ZOOM = 16  # until the script fits the map to the field
_MAX_ZOOM = 24  # about a centimetre a pixel


@dataclass(frozen=True)
class MapPieces:
    """Pieces of the page."""

    element: Markup
    data: Markup  # JSON text of the layers
    script: Markup  # draws them
    legend: list[MapLayer]


class _Fill(MacroElement):
    """Hands the groups of a map to the page's own script, which fills them from the data."""

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        evenacre.fill({{ this._parent.get_name() }}, {{ this.key|tojson }}, {
            {%- for name, group in this.groups.items() %}
            {{ name|tojson }}: {{ group.get_name() }},
            {%- endfor %}
        });
        {% endmacro %}
        """
    )

    def __init__(self, key: str, groups: dict[str, Any]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "Fill"
        self._id = key
        self.key = key
        self.groups = groups


def interactive_map(result: AuditResult, units: UnitSystem, key: str) -> MapPieces:
    """Build the map of one operation.

    Parameters
    ----------
    key : str
        Letters and digits, unlike that of any other map on the page: the names in the
        script are made from it, so that equal results give equal pages.
    """
    return map_pieces(*map_layers(result, units), key)


def map_pieces(layers: list[MapLayer], frame: dict[str, Any], key: str) -> MapPieces:
    """Build a map of layers in their frame, both as `map_layers` gives them."""
    (south, west), (north, east) = frame["bounds"]
    page_map = folium.Map(
        location=[(south + north) / 2, (west + east) / 2],
        tiles=None,
        zoom_start=_ZOOM,
        control_scale=True,
        zoom_control="bottomright",
        maxZoom=_MAX_ZOOM,
        zoom_snap=0.25,
        scroll_wheel_zoom=False,
        fade_animation=False,
    )
    page_map._id = key
    groups: dict[str, Any] = {}
    for layer in layers:
        group = folium.FeatureGroup(name=layer.label, show=layer.shown)
        group._id = f"{key}_{layer.key}"
        groups[layer.key] = group.add_to(page_map)
    _Fill(key, groups).add_to(page_map)

    page: Any = page_map.get_root()
    page.render()
    drawn = [{"key": a.key, "line": a.line, "items": a.items} for a in layers]
    return MapPieces(
        element=Markup(page.html.render()),
        data=script_json({**frame, "layers": drawn}),
        script=Markup(page.script.render()),
        legend=layers,
    )


def script_json(value: object) -> Markup:
    """Write JSON that is safe inside a script element, whatever names it holds."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
