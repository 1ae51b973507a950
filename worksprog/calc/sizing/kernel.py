"""The innermost loop of the sizing: every pair of end levels of one reach, in every size."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

CLOSE_M = 1e-7


@njit(cache=True)
def pass_down(
    before: Any,  # (flags, sizes, ups): least cost of all above, joined at that size and level
    ups: Any,
    downs: Any,
    share: Any,  # of the length, at each ground point
    ground: Any,
    weight: Any,  # share of the length that each point stands for
    asked: Any,  # cover asked for at the point; minus infinity for none
    rises: Any,  # (sizes, 2): invert to outside crown; wall and bed under the invert
    falls: Any,  # (sizes, 2): least and greatest fall
    trench: Any,  # (sizes, 3): money per m fixed; width × dig and spoil; width × fill less spoil
    solid: Any,  # (sizes,): height of bed, pipe and stone
    bands: Any,  # (n, 2): depth, extra per m
    length_m: float,
    most_depth_m: float,
) -> Any:
    """(least cost, index of the upper level) for every (flag, size, lower level)."""
    flags, sizes, up_count = before.shape
    down_count, points, band_count = len(downs), len(share), len(bands)
    best = np.full((flags, sizes, down_count), np.inf)
    chosen = np.full((flags, sizes, down_count), -1, dtype=np.int32)
    for size in range(sizes):
        least, most = falls[size, 0] - CLOSE_M, falls[size, 1] + CLOSE_M
        if least > most:
            continue
        for up in range(up_count):
            reached = False
            for flag in range(flags):
                if before[flag, size, up] < np.inf:
                    reached = True
            if not reached:
                continue
            for down in range(down_count):
                fall = ups[up] - downs[down]
                if fall > most:
                    continue
                if fall < least:
                    break  # lower levels come first
                money = trench[size, 0]
                fits = True
                for point in range(points):
                    depth = ground[point] - ups[up] + fall * share[point]
                    if depth > most_depth_m + CLOSE_M or (
                        depth < rises[size, 0] + asked[point] - CLOSE_M
                    ):
                        fits = False
                        break
                    dug = max(depth + rises[size, 1], 0.0)
                    filled = max(dug - solid[size], 0.0)
                    extra = trench[size, 1] * dug + trench[size, 2] * filled
                    for band in range(band_count):
                        if depth > bands[band, 0] + CLOSE_M:
                            extra += bands[band, 1]
                    money += weight[point] * extra
                if not fits:
                    continue
                money *= length_m
                for flag in range(flags):
                    total = before[flag, size, up] + money
                    if total < best[flag, size, down]:
                        best[flag, size, down] = total
                        chosen[flag, size, down] = up
    return best, chosen
