"""A tab of the browser whose troubles are noted, while it is a visitor of the desk."""

from __future__ import annotations

from typing import Any

# A test may press a key before a new page has put the focus into its box, or close the desk while
# the last page still loads; a desk that is gone earlier fails the test itself.
NO_TROUBLE = ("Autofocus processing was blocked", "Failed to load resource: net::ERR_")


def watch(tab: Any, home: str, troubles: list[str]) -> None:
    """Note errors of scripts, what the browser complains of, and requests that leave the desk."""

    def told(message: Any) -> None:
        if not message.text.startswith(NO_TROUBLE):
            troubles.append(message.text)

    def asked(request: Any) -> None:
        if not request.url.startswith((f"{home}/", "data:")):
            troubles.append(request.url)

    tab.set_default_timeout(60_000)
    tab.on("pageerror", lambda error: troubles.append(str(error)))
    tab.on("console", told)
    tab.on("request", asked)
