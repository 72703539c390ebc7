"""What every HTML page of the reports shares: its templates, styles and scripts, all inline."""

from __future__ import annotations

import base64
import re
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from evenacre import __version__
from evenacre.io.writers.file_names import handed_names
from evenacre.language import now_spoken, tr, trn
from evenacre.reports.maps.marks import mark_picture, marks_told
from evenacre.reports.maps.rates import RATE_CLASSES
from evenacre.shown_text import shown

_TOGETHER = re.compile(r"\b\d+(?:-\d+)+\b|\d[\d.,]* [^\W\d_]{1,5}\b")
_SCRIPTS = ("map.js", "replay.js", "pair.js", "report.js")


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
    environment.filters |= {
        "data_uri": _data_uri,
        "handed_names": handed_names,
        "unbroken": _unbroken,
    }
    environment.globals |= {
        "tr": _in_html,
        "trn": trn,
        "mark_picture": mark_picture,
        "marks_told": marks_told,
        "rate_classes": RATE_CLASSES,
    }
    return environment


def _in_html(text: str, **said: object) -> Markup:
    """Translate a text of a template; what is put in is escaped, what stands in it is our own."""
    safe = {
        name: value if isinstance(value, int | float) else escape(value)
        for name, value in said.items()
    }
    return Markup(tr(text, **safe))


def _unbroken(text: str) -> Markup:
    """Keep dates, analyses (18-46-0) and a figure with its unit on one line each."""
    return Markup(_TOGETHER.sub(r'<span class="unbroken">\g<0></span>', str(escape(text))))


def _data_uri(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def page(template: str, **content: Any) -> str:
    """Render a template that extends ``page.html.j2``, the shell that all pages share."""
    text = (
        templates()
        .get_template(template)
        .render(
            version=__version__,
            language=now_spoken().subtag,
            leaflet_licence=leaflet("LICENSE"),
            leaflet_css=leaflet("leaflet.css"),
            leaflet_js=leaflet("leaflet.js"),
            style=asset("report.css") + asset("pair.css"),
            script=Markup("").join(map(asset, _SCRIPTS)),
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
