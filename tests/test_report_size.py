"""The report stays small enough to send: its bytes for a hectare driven at 5 Hz."""

from __future__ import annotations

from base64 import b64encode

from put_down import operation
from whole_fields import reference_field

from evenacre.coverage.audit import audit_operation
from evenacre.reports.pages.audit import render_operation
from evenacre.units.display import US

# 25 MB for 500 ha in fields of 25 ha, less what a job takes whatever its size.
BYTES_PER_HA = 25e6 / 500
BYTES_PER_JOB = 60_000


def test_the_map_of_a_field_is_small() -> None:
    result = audit_operation(operation(reference_field()))
    made = render_operation(result, US, key="op1")
    # Printed maps are of one size whatever is on them.
    pictures = sum(len(b64encode(m)) for name, m in made.maps.items() if name.endswith(".png"))
    size = len(made.section.encode()) - pictures
    assert pictures < 250_000
    assert size < BYTES_PER_JOB + BYTES_PER_HA * result.boundary_area_m2 / 1e4
    assert result.drive is not None
    assert len(result.drive.whole) > 500
