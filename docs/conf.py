"""Build of the documentation: ``make site``."""

import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent / "tools"), str(HERE.parent / "tests")]

from reference import PAGES  # noqa: E402

from evenacre import __version__  # noqa: E402

project = "Evenacre"
author = "the authors of Evenacre"
version = release = __version__
extensions = ["myst_nb", "sphinx.ext.autodoc", "sphinx.ext.napoleon"]
autodoc_typehints = "none"
autodoc_member_order = "bysource"
napoleon_google_docstring = False
napoleon_use_rtype = False
napoleon_use_ivar = True
html_theme = "furo"
html_title = "Evenacre"
html_show_copyright = html_show_sourcelink = html_show_sphinx = False
html_copy_source = False
smartquotes = False  # two hyphens begin an option
html_static_path = ["_static"]
html_css_files = ["site.css"]
myst_heading_anchors = 3
myst_enable_extensions = ["colon_fence", "deflist"]
nb_execution_mode = "force"
nb_execution_raise_on_error = True
nb_execution_timeout = 120
nb_merge_streams = True

_MARK = "<!-- declared -->"


def _declared(_: Any, page: str, source: list[str]) -> None:
    """Put in what a reference page is made of."""
    if page in PAGES:
        if _MARK not in source[0]:
            raise ValueError(f"{page}: no line {_MARK}")
        source[0] = source[0].replace(_MARK, PAGES[page]())


def _reachable(_app: Any, _page: str, _template: str, context: dict[str, Any], _: Any) -> None:
    """Let keys reach what scrolls sideways, and tell which headings the contents have."""
    body = context.get("body", "").replace("<pre>", '<pre tabindex="0">')
    context["body"] = body.replace(
        '<div class="table-wrapper', '<div tabindex="0" class="table-wrapper'
    )
    tree = context.get("furo_navigation_tree", "")
    context["furo_navigation_tree"] = tree.replace(
        'role="heading"', 'role="heading" aria-level="2"'
    )


def setup(app: Any) -> dict[str, bool]:
    """Tell Sphinx of it."""
    app.connect("source-read", _declared)
    app.connect("env-get-outdated", lambda *_: list(PAGES))
    app.connect("html-page-context", _reachable, priority=900)  # after the theme
    return {"parallel_read_safe": True, "parallel_write_safe": True}
