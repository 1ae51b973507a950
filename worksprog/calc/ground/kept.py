"""The ground as bytes to be kept, and back."""

from __future__ import annotations

import io
import zipfile

import numpy as np

from worksprog.calc.ground.model import GriddedGround, Ground, TriangulatedGround


def dump_ground(ground: Ground) -> bytes:
    """The ground as one compressed archive: millimetres as whole numbers, no Python objects."""
    buffer = io.BytesIO()
    if isinstance(ground, GriddedGround):
        np.savez_compressed(
            buffer,
            frame=np.array([ground.west, ground.south, ground.cell_m]),
            levels=ground.levels.astype(np.float32),
        )
    else:
        low = np.floor(ground.points.min(axis=0))
        np.savez_compressed(
            buffer,
            low=low,
            points_mm=np.round((ground.points - low) * 1000).astype(np.int32),
            triangles=ground.triangles,
            neighbours=ground.neighbours,
            used=ground.used,
        )
    return buffer.getvalue()


def load_ground(data: bytes) -> Ground:
    """The ground that ``dump_ground`` wrote. Raises ValueError for anything else."""
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as kept:
            if "levels" in kept.files:
                west, south, cell_m = (float(value) for value in kept["frame"])
                return GriddedGround(west, south, cell_m, kept["levels"].astype(float))
            points = np.round(kept["low"] + kept["points_mm"] / 1000.0, 3)
            return TriangulatedGround(points, kept["triangles"], kept["neighbours"], kept["used"])
    except (EOFError, KeyError, OSError, ValueError, zipfile.BadZipFile) as error:
        raise ValueError("This is not a ground model written by this program.") from error
