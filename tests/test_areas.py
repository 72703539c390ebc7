"""Field areas against geographiclib, the reference implementation of Karney (2013)."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from jobs import Job, Turtle
from put_down import lonlat_of, on_earth, operation
from shapely.geometry import Polygon

from evenacre.coverage.audit import audit_operation

SHAPES = {
    "square": [(0, 0), (1, 0), (1, 1), (0, 1)],
    "long": [(0, 0), (4, 0.3), (4, 0.8), (0, 0.5)],
    "L": [(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)],
}
LATITUDES = [-60.0, -43.7, -12.0, 0.0, 31.0, 55.0, 70.0]


def geodesic_area_m2(lonlat: np.ndarray) -> float:
    ring = Geodesic.WGS84.Polygon()
    for lon, lat in lonlat[:-1]:
        ring.AddPoint(float(lat), float(lon))
    return abs(ring.Compute()[2])


@pytest.mark.parametrize("lat", LATITUDES)
@pytest.mark.parametrize("hectares", [2.0, 60.0, 500.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_boundary_area_is_the_geodesic_area(shape: str, hectares: float, lat: float) -> None:
    unit = Polygon(SHAPES[shape])
    size = (hectares * 1e4 / unit.area) ** 0.5
    field = Polygon(np.array(SHAPES[shape]) * size)
    middle = field.representative_point()
    drive = Turtle(middle.x, middle.y).forward(10.0, work=True).sample(step=2.0)
    place = (-179.995 if shape == "long" else 14.0, lat)
    result = audit_operation(operation(Job(field, (drive,)), place, turn=0.5))
    ring = on_earth(field, place, 0.5, (0.0, 0.0)).exterior.coords
    assert result.boundary_area_m2 == pytest.approx(geodesic_area_m2(np.array(ring)), rel=1e-6)


def test_the_ground_worked_is_true_far_from_the_equator() -> None:
    # A geodesic strip: its ends are two points 400 m apart, its width is the drill's.
    drive = Turtle().forward(400.0, work=True).sample(phase=0.0)
    job = Job(Polygon([(-20, -20), (420, -20), (420, 20), (-20, 20)]), (drive,))
    lon, lat = lonlat_of(drive.x_m[[0, -1]], drive.y_m[[0, -1]], (25.0, 69.9))
    length = Geodesic.WGS84.Inverse(lat[0], lon[0], lat[1], lon[1])["s12"]
    result = audit_operation(operation(job, (25.0, 69.9)))
    assert result.covered_area_m2 == pytest.approx(length * job.implement.width_m, rel=1e-6)
