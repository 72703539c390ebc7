"""The map library in every report: its authors' release, unchanged, with its licence."""

from __future__ import annotations

import base64
import hashlib
from importlib.resources import files

import pytest

from evenacre.reports.pages.audit import document

# The integrity values that leafletjs.com gives for version 1.9.4, and that of its licence.
RELEASED = {
    "leaflet.js": "20nQCchB9co0qIjJZRGuk2/Z9VM+kNiyxNV1lvTlZBo=",
    "leaflet.css": "p4NxAoJBhIIN+hmNHrzRCf9tD/miZyoHS5obTRR9BMY=",
    "LICENSE": "U+jcJYYgFOQyR0HKGPvjYR4R1C72n1n4bqjFOJZH1Ms=",
}
HERE = files("evenacre.reports") / "leaflet"


@pytest.mark.parametrize("name", RELEASED)
def test_files_are_as_released(name: str) -> None:
    digest = hashlib.sha256((HERE / name).read_bytes()).digest()
    assert base64.b64encode(digest).decode() == RELEASED[name]


def test_a_report_carries_the_licence_beside_the_script() -> None:
    page = document([], farm="Three Larks Farm", inputs=[], warnings=[])
    assert (HERE / "LICENSE").read_text(encoding="utf-8") in page
    assert '.version="1.9.4"' in page
