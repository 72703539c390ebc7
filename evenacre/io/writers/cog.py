"""Rasters as Cloud-Optimized GeoTIFF."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from rasterio.crs import CRS
from rasterio.io import MemoryFile

from evenacre import __version__
from evenacre.model.outputs import Raster
from evenacre.shown_text import shown


def write_cog(path: Path, raster: Raster) -> None:
    """Write one raster in its own plane: GeoTIFF keys hold an equal-area plane exactly."""
    values = raster.values
    if np.issubdtype(values.dtype, np.floating):  # counts stay as they are
        values = values.astype(np.float32)
    predictor = 3 if values.dtype == np.float32 else 2
    # GDAL writes to memory and Python to the disk, so that a full disk is a plain OSError.
    with MemoryFile() as memory:
        with memory.open(
            driver="COG",
            height=values.shape[0],
            width=values.shape[1],
            count=1,
            dtype=values.dtype,
            crs=CRS.from_wkt(raster.crs.to_wkt()),
            transform=raster.transform,
            nodata=raster.nodata,
            compress="deflate",
            predictor=predictor,
            blocksize=256,
            overview_resampling="nearest",
        ) as target:
            target.write(values, 1)
            # GDAL keeps these in an XML of its own.
            description = shown(raster.description)
            target.set_band_description(1, description)
            target.set_band_unit(1, raster.units)
            target.update_tags(
                TIFFTAG_SOFTWARE=f"Evenacre {__version__}",
                TIFFTAG_IMAGEDESCRIPTION=description,
                UNITS=raster.units,
            )
        path.write_bytes(memory.read())
