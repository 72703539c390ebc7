"""``evenacre desk``: every job from a page in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from evenacre.cli.options.shared import plain_errors
from evenacre.cli.options.streams import printing, say


def desk(
    folder: Annotated[
        Path, typer.Argument(help="The farm's folder; made where it is missing.")
    ] = Path(),
    shortcut: Annotated[
        bool, typer.Option("--shortcut", help="Leave an icon that opens it, and end.")
    ] = False,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Say the address, and open no browser.")
    ] = False,
    on_network: Annotated[
        bool,
        typer.Option(
            "--on-network",
            help="Answer phones in your own Wi-Fi too, if they have the PIN that is shown.",
        ),
    ] = False,
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port to serve on; 0: any free one.")
    ] = 0,
) -> None:
    """Open the desk of a farm: bring files, mend the season and audit it from the browser.

    It is served on this machine alone, to the browser that it opens, until you open it to your
    network.
    """
    with plain_errors():
        if shortcut:
            from evenacre.desk.farm import open_farm
            from evenacre.desk.shortcut import leave_shortcut

            place = leave_shortcut(open_farm(folder).root, on_network=on_network)
            _tell(f"Wrote {place}. Double-click it to open the desk.")
            return
        from evenacre.desk.server import serve

        serve(folder, _tell, browser=not no_browser, port=port, on_network=on_network)


def _tell(text: str) -> None:
    """Print a line; the window that it was opened from may be gone by then."""
    with printing():
        say(text)
