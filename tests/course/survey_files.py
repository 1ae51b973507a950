"""Survey files of every kind, written by the same libraries a surveyor's software uses."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import rasterio
import shapely
from rasterio.transform import Affine

Rows = Sequence[tuple[Any, Mapping[str, str]]]


def write_layer(
    path: Path,
    rows: Rows,
    *,
    driver: str,
    layer: str | None = None,
    crs: str | None = "EPSG:27700",
    geometry_type: str = "Unknown",
    append: bool = False,
) -> Path:
    shapes = np.array(
        [None if shape is None else shapely.to_wkb(shape) for shape, _ in rows], dtype=object
    )
    fields = sorted({name for _, told in rows for name in told})
    values = [np.array([told.get(name, "") for _, told in rows], dtype=object) for name in fields]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        pyogrio.raw.write(
            path,
            shapes,
            field_data=values,
            fields=np.array(fields, dtype=object),
            geometry_type=geometry_type,
            driver=driver,
            layer=layer,
            crs=crs,
            append=append,
        )
    return path


def write_geopackage(path: Path, layers: Mapping[str, Rows], *, crs: str = "EPSG:27700") -> Path:
    for name, rows in layers.items():
        write_layer(path, rows, driver="GPKG", layer=name, crs=crs, append=path.exists())
    return path


def write_dxf(path: Path, rows: Sequence[tuple[Any, str]]) -> Path:
    return write_layer(
        path, [(shape, {"Layer": layer}) for shape, layer in rows], driver="DXF", crs=None
    )


def write_zipped_shapefile(
    path: Path, layers: Mapping[str, Rows], *, geometry_type: str, crs: str | None = "EPSG:27700"
) -> Path:
    folder = path.parent / f"{path.stem}_parts"
    folder.mkdir()
    for name, rows in layers.items():
        write_layer(
            folder / f"{name}.shp",
            rows,
            driver="ESRI Shapefile",
            crs=crs,
            geometry_type=geometry_type,
        )
    with zipfile.ZipFile(path, "w") as archive:
        for part in sorted(folder.iterdir()):
            archive.write(part, f"survey/{part.name}")
    return path


def write_geotiff(
    path: Path,
    levels: Any,
    *,
    west: float = 451000,
    north: float = 213500,
    cell: float = 2,
    crs: str | None = "EPSG:27700",
    nodata: float | None = -9999,
    **more: Any,
) -> Path:
    bands = np.atleast_3d(np.asarray(levels)).transpose(2, 0, 1)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=bands.shape[2],
        height=bands.shape[1],
        count=bands.shape[0],
        dtype=bands.dtype,
        crs=crs,
        nodata=nodata,
        **{"transform": Affine(cell, 0, west, 0, -cell, north), **more},
    ) as file:
        file.write(bands)
    return path


def ascii_grid(
    levels: Any, *, west: float = 451000, south: float = 213000, cell: float = 2
) -> bytes:
    text = io.StringIO()
    rows, columns = np.shape(levels)
    text.write(f"ncols {columns}\nnrows {rows}\nxllcorner {west}\nyllcorner {south}\n")
    text.write(f"cellsize {cell}\nNODATA_value -9999\n")
    np.savetxt(text, np.where(np.isfinite(levels), levels, -9999), fmt="%.3f")
    return text.getvalue().encode()
