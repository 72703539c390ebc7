"""How a result was worked out, as one HTML page: enough for someone else to repeat it."""

from __future__ import annotations

import shlex

from evenacre.language import tr
from evenacre.reports.maps.interactive import script_json
from evenacre.reports.pages.frame import page
from evenacre.reports.quantities import Display
from evenacre.reports.tables.method import METHOD, SCHEMA, Method, method_tables
from evenacre.reports.writers.as_json import json_types, record


def method_page(method: Method, display: Display, *, farm: str) -> str:
    """Render the page; what programs read is in it as JSON, in the element ``method``."""
    told = json_types({"schema": SCHEMA, **record(METHOD, method)})
    return page(
        "method.html.j2",
        title=farm,
        about=tr("How it was worked out"),
        inputs=(),
        command=shlex.join(("evenacre", *method.command)) if method.command else "",
        tables=method_tables(method, display),
        account=script_json(told),
    )
