"""Planned passes as files for maps, phones and guidance displays."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

from evenacre.io.taskdata.write.guidance import write_guidance
from evenacre.io.writers.geopackage import write_geopackage
from evenacre.io.writers.gpx import add_point, add_text, gpx_root, write_root
from evenacre.model.outputs import PassFiles


def write_passes(folder: Path, files: PassFiles, *, farm: str = "") -> None:
    """Write ``passes.gpkg``, ``passes.gpx`` and ``guidance.zip``.

    The GPX file has a track for each field, with a segment for each pass in the order they are
    driven.

    Parameters
    ----------
    folder : Path
    files : PassFiles
    farm : str
    """
    write_geopackage(folder / "passes.gpkg", files.layers)
    root = gpx_root()
    for field, passes in files.drives:
        track = ET.SubElement(root, "trk")
        add_text(track, "name", field)
        for line in passes:
            segment = ET.SubElement(track, "trkseg")
            for lon, lat in line.coords:
                add_point(segment, "trkpt", lon, lat)
    write_root(folder / "passes.gpx", root)
    write_guidance(folder / "guidance.zip", files.fields, farm=farm)
