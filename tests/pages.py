"""HTML pages taken apart, and a name that tries to break out of them."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from typing import Any

HOSTILE = "</script><script>window.hacked=1</script><img src=x onerror=window.hacked=1>&\"'"


class Page(HTMLParser):
    """Elements, text outside scripts, and the scripts of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.scripts: list[tuple[dict[str, str | None], str]] = []
        self._inside = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._inside = tag
        if tag == "script":
            self.scripts.append((dict(attrs), ""))

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside == "script":
            attrs, text = self.scripts[-1]
            self.scripts[-1] = attrs, text + data
        elif self._inside != "style":
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def data(self, key: str) -> Any:
        return self.script(f"{key}-data")

    def script(self, name: str) -> Any:
        """The JSON of the script element of an id."""
        return json.loads(next(t for a, t in self.scripts if a.get("id") == name))


_RESTS = """() => {
    const moved = document.querySelectorAll(
        ".leaflet-map-pane, .leaflet-proxy, .leaflet-control-scale-line, path.boundary, path.shape"
    );
    const now = JSON.stringify([...moved].map(one => one.getBoundingClientRect()));
    window.atRest = now === window.lastSeen ? (window.atRest ?? 0) + 1 : 0;
    window.lastSeen = now;
    return window.atRest > 4; }"""


def rest(page: Any) -> None:
    """Wait until the maps of a page in the browser have come to rest for some frames."""
    page.evaluate("() => { window.atRest = 0; }")
    page.wait_for_function(_RESTS)
