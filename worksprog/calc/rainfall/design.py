"""Design rain: depths of one return period by duration, read at any duration between."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True)
class DesignRain:
    """Depths of rain (mm) by duration (min) for one return period, any allowance already in.

    Between the durations given the depth is read on straight lines of log depth on log duration;
    outside them nothing is known. ValueError, naming the row, when durations do not rise or a
    longer storm would bring less rain.
    """

    durations_min: tuple[float, ...]
    depths_mm: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.durations_min or len(self.durations_min) != len(self.depths_mm):
            raise ValueError("Design rain is at least one duration, with one depth for each.")
        _check_rising(self.durations_min, self.depths_mm)

    def intensities_mm_h(self, durations_min: ArrayLike) -> NDArray[np.float64]:
        """Mean intensity (mm/h) over each duration (min).

        A duration outside the table is read at the table's nearest end, so a storm shorter than
        the shortest given is not made fiercer than anything known.
        """
        wanted = np.clip(
            np.asarray(durations_min, dtype=np.float64),
            self.durations_min[0],
            self.durations_min[-1],
        )
        depth = np.exp(
            np.interp(np.log(wanted), np.log(self.durations_min), np.log(self.depths_mm))
        )
        return np.asarray(depth / wanted * 60)

    def intensity_mm_h(self, duration_min: float) -> float:
        return float(self.intensities_mm_h([duration_min])[0])


def _check_rising(durations_min: Sequence[float], depths_mm: Sequence[float]) -> None:
    for index, (duration, depth) in enumerate(zip(durations_min, depths_mm, strict=True)):
        if not (math.isfinite(duration) and duration > 0 and math.isfinite(depth) and depth > 0):
            raise ValueError(
                f"Row {index + 1}: a duration in minutes and a depth in mm, both above 0, were "
                f"expected; {duration:g} and {depth:g} were given."
            )
        if index and duration <= durations_min[index - 1]:
            raise ValueError(
                f"Row {index + 1}: durations must rise; {duration:g} min follows "
                f"{durations_min[index - 1]:g} min."
            )
        if index and depth < depths_mm[index - 1]:
            raise ValueError(
                f"Row {index + 1}: a longer storm cannot bring less rain; {depth:g} mm in "
                f"{duration:g} min follows {depths_mm[index - 1]:g} mm in "
                f"{durations_min[index - 1]:g} min."
            )
