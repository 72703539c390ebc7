"""The desk's pages: templates filled in, and the files they stand on."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, Response

from evenacre import __version__
from evenacre.reports.pages.frame import asset, leaflet
from evenacre.shown_text import shown

_TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("evenacre.desk"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(template: str, status: int = 200, **content: Any) -> Response:
    """Fill in a page."""
    text = _templates().get_template(template).render(version=__version__, **content)
    return HTMLResponse(shown(text), status)


@cache
def served(name: str) -> tuple[bytes, str] | None:
    """A style, script or picture of the pages and its type; None for any other name."""
    own = files("evenacre.desk").joinpath("assets")
    # The palette, tables and cards are those of the reports.
    shared = {
        "report.css": lambda: asset("report.css"),
        "leaflet.css": lambda: leaflet("leaflet.css"),
        "leaflet.js": lambda: leaflet("leaflet.js"),
    }
    kind = _TYPES.get(f".{name.rpartition('.')[2]}", "")
    if name in shared:
        return str(shared[name]()).encode(), kind
    if kind and name in {entry.name for entry in own.iterdir()}:
        return own.joinpath(name).read_bytes(), kind
    return None
