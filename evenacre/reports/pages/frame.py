"""What every HTML page of the reports shares: its templates, styles and scripts, all inline."""

from __future__ import annotations

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
    return Environment(
        loader=PackageLoader("evenacre.reports.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(template: str, **content: Any) -> str:
    """Render a template that extends ``page.html.j2``, the shell that all pages share."""
    return shown(
        templates()
        .get_template(template)
        .render(
            version=__version__,
            leaflet_licence=Markup(_leaflet("LICENSE")),
            leaflet_css=_leaflet_style(),
            leaflet_js=_leaflet_script(),
            style=asset("report.css"),
            script=asset("report.js"),
            **content,
        )
    )


def asset(name: str) -> Markup:
    """Style or script that stands beside the templates."""
    text = files("evenacre.reports.pages").joinpath("templates", name).read_text(encoding="utf-8")
    return Markup(text)


def _leaflet(name: str) -> str:
    return files("evenacre.reports").joinpath("leaflet", name).read_text(encoding="utf-8")


def _leaflet_style() -> Markup:
    """Leaflet's style without its pictures: the page uses none of the controls they are for."""
    style = re.sub(r"/\*.*?\*/", "", _leaflet("leaflet.css"), flags=re.DOTALL)
    return Markup(re.sub(r"url\(images/[^)]*\)", "none", style))


def _leaflet_script() -> Markup:
    return Markup(re.sub(r"//# sourceMappingURL=.*", "", _leaflet("leaflet.js")))
