"""The reference pages of the documentation, made of what the package declares.

A page in ``docs/reference/`` holds a line ``<!-- declared -->``; what is made here takes its place
when the site is built, so nothing is typed twice and nothing can fall behind.
"""

from __future__ import annotations

from collections.abc import Callable

from reference.commands import commands
from reference.figures import figures
from reference.findings import findings
from reference.season_file import season_file

PAGES: dict[str, Callable[[], str]] = {
    "reference/commands": commands,
    "reference/season_file": season_file,
    "reference/figures": figures,
    "reference/findings": findings,
}
"""What is put into each page, by its name."""
