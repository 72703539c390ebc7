"""What every HTML page of the reports shares: its templates, styles and scripts, all inline."""

from __future__ import annotations

import base64
import re
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from evenacre import __version__
from evenacre.shown_text import shown


@cache
def templates() -> Environment:
    """The templates, compiled once a process."""
    environment = Environment(
        loader=PackageLoader("evenacre.reports.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["data_uri"] = _data_uri
    return environment


def _data_uri(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def page(template: str, **content: Any) -> str:
    """Render a template that extends ``page.html.j2``, the shell that all pages share."""
    text = (
        templates()
        .get_template(template)
        .render(
            version=__version__,
            leaflet_licence=leaflet("LICENSE"),
            leaflet_css=leaflet("leaflet.css"),
            leaflet_js=leaflet("leaflet.js"),
            style=asset("report.css"),
            script=asset("report.js"),
            **content,
        )
    )
    return shown(text)


def asset(name: str) -> Markup:
    """Style or script that stands beside the templates."""
    text = files("evenacre.reports.pages").joinpath("templates", name).read_text(encoding="utf-8")
    return Markup(text)


def leaflet(name: str) -> Markup:
    """Leaflet's file without comments and without pictures: they are of controls not used here."""
    text = files("evenacre.reports").joinpath("leaflet", name).read_text(encoding="utf-8")
    if name.endswith(".css"):
        text = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
        text = re.sub(r"url\(images/[^)]*\)", "none", text)
    return Markup(re.sub(r"//# sourceMappingURL=.*", "", text))
