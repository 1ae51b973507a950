"""Survey rows to arrays and back."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from worksprog.calc.ground import GriddedGround, load_ground
from worksprog.course.models import Survey

Floats = npt.NDArray[np.float64]


def pack_points(xyz: Floats, codes: Sequence[str]) -> bytes:
    """Spot heights as kept on a survey: whole tenths of a millimetre, no Python objects."""
    buffer = io.BytesIO()
    low = np.floor(xyz.min(axis=0)) if len(xyz) else np.zeros(3)
    np.savez_compressed(
        buffer,
        low=low,
        xyz_tenths=np.round((xyz - low) * 10_000).astype(np.int64),
        codes=np.array(codes, dtype=str),
    )
    return buffer.getvalue()


def points_of(survey: Survey) -> tuple[Floats, list[str]]:
    """The spot heights of a survey and their codes.

    Raises ValueError for a survey that holds none.
    """
    if survey.what != Survey.What.SPOT_HEIGHTS or survey.points is None:
        raise ValueError(f"{survey} holds no spot heights.")
    with np.load(io.BytesIO(bytes(survey.points)), allow_pickle=False) as kept:
        xyz = np.round(kept["low"] + kept["xyz_tenths"] / 10_000.0, 4)
        return xyz, [str(code) for code in kept["codes"]]


def grid_of(survey: Survey) -> GriddedGround:
    """The grid of levels of a survey. Raises ValueError for a survey that holds none."""
    if survey.what != Survey.What.GROUND_GRID or survey.points is None:
        raise ValueError(f"{survey} holds no grid of levels.")
    ground = load_ground(bytes(survey.points))
    if not isinstance(ground, GriddedGround):
        raise ValueError(f"{survey} holds no grid of levels.")
    return ground
