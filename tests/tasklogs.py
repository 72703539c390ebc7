"""Task data made by others' means: the XML by the isoxml package, the logs by struct."""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from types import ModuleType
from typing import Any

from isoxml.models.base import v3, v4  # noqa: F401
from isoxml.models.ddi_entities import DDEntity
from isoxml.util.isoxml_io import isoxml_to_dir, isoxml_to_zip

START = datetime(2026, 4, 14, 13, 0, tzinfo=UTC)
EPOCH = datetime(1980, 1, 1, tzinfo=UTC)
LON0, LAT0 = -92.5, 40.1
"""South-west corner of the invented field, in degrees."""
FIELD = [(0.0, 0.0), (0.005, 0.0), (0.005, 0.004), (0.0, 0.004)]
"""Its corners, degrees east and north of that one."""


def ddi(key: int) -> bytes:
    return bytes(DDEntity.from_id(key))


def line(iso: ModuleType, corners: Iterable[tuple[float, float]], kind: Any) -> Any:
    points = [
        iso.Point(
            type=iso.PointType.Other,
            north=Decimal(f"{LAT0 + y:.9f}"),
            east=Decimal(f"{LON0 + x:.9f}"),
        )
        for x, y in corners
    ]
    return iso.LineString(type=kind, points=points)


def polygon(
    iso: ModuleType,
    shell: Sequence[tuple[float, float]],
    holes: Iterable[Sequence[tuple[float, float]]] = (),
    kind: Any = None,
) -> Any:
    return iso.Polygon(
        type=kind or iso.PolygonType.PartfieldBoundary,
        line_strings=[
            line(iso, shell, iso.LineStringType.PolygonExterior),
            *(line(iso, hole, iso.LineStringType.PolygonInterior) for hole in holes),
        ],
    )


def root(iso: ModuleType, **parts: Any) -> Any:
    return iso.Iso11783TaskData(
        version_minor=iso.Iso11783TaskDataVersionMinor("3"),
        management_software_manufacturer="nobody",
        management_software_version="1",
        data_transfer_origin=iso.Iso11783TaskDataDataTransferOrigin("2"),
        **parts,
    )


def part(iso: ModuleType, object_id: int, kind: str, above: int, refs: Iterable[int] = ()) -> Any:
    return iso.DeviceElement(
        id=f"DET-{object_id}",
        object_id=object_id,
        type=iso.DeviceElementType(kind),
        designator=f"part {object_id}",
        number=object_id,
        parent_object_id=above,
        device_object_references=[iso.DeviceObjectReference(device_object_id=r) for r in refs],
    )


def drill(iso: ModuleType, widths_mm: Sequence[int], tool_x_mm: int = -1000) -> Any:
    """A towed drill: pin 4 m ahead of its axle, sections from the left but stored backwards."""
    elements = [
        part(iso, 1, "1", 0),
        part(iso, 2, "2", 1),
        part(iso, 3, "3", 2),
        part(iso, 4, "6", 1, [100, 101]),
    ]
    properties = [
        iso.DeviceProperty(object_id=100, ddi=ddi(134), value=4000),
        iso.DeviceProperty(object_id=101, ddi=ddi(157), value=1),
    ]
    at = -sum(widths_mm) / 2
    places = []
    for width in widths_mm:
        places.append((width, at + width / 2))
        at += width
    for k, (width, y) in reversed(list(enumerate(places))):
        base = 200 + 10 * k
        elements.append(part(iso, 10 + k, "4", 2, [base, base + 1, base + 2]))
        properties += [
            iso.DeviceProperty(object_id=base, ddi=ddi(67), value=width),
            iso.DeviceProperty(object_id=base + 1, ddi=ddi(134), value=tool_x_mm),
            iso.DeviceProperty(object_id=base + 2, ddi=ddi(135), value=round(y)),
        ]
    return iso.Device(
        id="DVC-1",
        designator="wide drill",
        **{"client_name" if iso is v4 else "working_set_master_name": b"\0" * 8},
        structure_label=b"\0" * 7,
        localization_label=b"\0" * 7,
        elements=elements,
        properties=properties,
    )


def tractor(iso: ModuleType) -> Any:
    """Antenna 2 m ahead of the rear axle and 0.1 m to the right, pin 1 m behind the axle."""
    numbers = {300: (134, 2000), 301: (135, 100), 302: (134, -1000), 303: (135, 0), 304: (157, 1)}
    elements = [
        part(iso, 1, "1", 0),
        part(iso, 2, "7", 1, [300, 301]),
        part(iso, 3, "6", 1, [302, 303, 304]),
    ]
    for element in elements:
        element.id = element.id.replace("DET-", "DET-9")
    return iso.Device(
        id="DVC-2",
        designator="puller",
        **{"client_name" if iso is v4 else "working_set_master_name": b"\0" * 8},
        structure_label=b"\0" * 7,
        localization_label=b"\0" * 7,
        elements=elements,
        properties=[
            iso.DeviceProperty(object_id=key, ddi=ddi(kind), value=value)
            for key, (kind, value) in numbers.items()
        ],
    )


def template(
    columns: Sequence[tuple[int, str]], *, position: str = "ABD", extra: str = ""
) -> bytes:
    """A template whose records hold a time, the given parts of a position, and these values."""
    attributes = "".join(f' {key}=""' for key in position)
    values = "".join(f'<DLV A="{key:04X}" B="" C="{part}"/>' for key, part in columns)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><TIM A="" D="4"><PTN{attributes}{extra}/>{values}'
        "</TIM>"
    ).encode()


def record(
    second: float,
    x: float,
    y: float,
    values: Sequence[tuple[int, int]] = (),
    *,
    status: int = 4,
    clock_s: float | None = None,
) -> bytes:
    """A record of the layout ``ABD`` at degrees east and north of the corner of the field."""
    moment = (START - EPOCH).total_seconds() + second if clock_s is None else clock_s
    day, of_day = divmod(moment, 86_400)
    head = struct.pack(
        "<IHiiB",
        round(of_day * 1000),
        int(day),
        round((LAT0 + y) * 1e7),
        round((LON0 + x) * 1e7),
        status,
    )
    return head + bytes([len(values)]) + b"".join(struct.pack("<Bi", *v) for v in values)


def write(
    where: Path,
    task_data: Any,
    logs: dict[str, tuple[bytes, bytes]] = {},  # noqa: B006
    files: dict[str, Any] | None = None,
    *,
    folder: bool = True,
) -> Path:
    """Write a zip, or a folder when the name has no ending."""
    if where.suffix:
        isoxml_to_zip(where, task_data, files, include_folder=folder)
        with zipfile.ZipFile(where, "a") as archive:
            for name, (xml, data) in logs.items():
                prefix = "TASKDATA/" if folder else ""
                archive.writestr(f"{prefix}{name}.XML", xml)
                archive.writestr(f"{prefix}{name}.BIN", data)
        return where
    where.mkdir(parents=True, exist_ok=True)
    isoxml_to_dir(where, task_data, files)
    for name, (xml, data) in logs.items():
        (where / f"{name}.XML").write_bytes(xml)
        (where / f"{name}.BIN").write_bytes(data)
    return where


def unsafe_root(body: str = "", head: str = "") -> bytes:
    """A TASKDATA.XML as text, for what no writer of task data would write."""
    return (
        f'<?xml version="1.0"?>{head}<ISO11783_TaskData VersionMajor="4" VersionMinor="3">{body}'
        "</ISO11783_TaskData>"
    ).encode()
