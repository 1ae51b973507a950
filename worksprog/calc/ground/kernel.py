"""The loops over cells: filling, directions, gathering. Rows run from south to north.

A direction is the number of a neighbour below: straight ones first, from the south clockwise, then
the diagonal ones. The opposite of direction k is k ^ 2. -1 is where water leaves, -2 no ground.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

ROW = np.array([-1, 0, 1, 0, -1, 1, 1, -1])
COLUMN = np.array([0, -1, 0, 1, -1, -1, 1, 1])
STEP = np.array([1.0, 1.0, 1.0, 1.0, 2**0.5, 2**0.5, 2**0.5, 2**0.5])
LEAVES, NO_GROUND = -1, -2
# Two slopes nearer than this are one: levels in floats make exact ties random otherwise.
SAME_SLOPE = 1e-10


@njit(cache=True)
def _push(keys: Any, cells: Any, size: int, key: float, cell: int) -> int:
    at = size
    while at > 0:
        above = (at - 1) >> 1
        if keys[above] <= key:
            break
        keys[at], cells[at] = keys[above], cells[above]
        at = above
    keys[at], cells[at] = key, cell
    return size + 1


@njit(cache=True)
def _pop(keys: Any, cells: Any, size: int) -> int:
    size -= 1
    key, cell = keys[size], cells[size]
    at = 0
    while True:
        below = 2 * at + 1
        if below >= size:
            break
        if below + 1 < size and keys[below + 1] < keys[below]:
            below += 1
        if keys[below] >= key:
            break
        keys[at], cells[at] = keys[below], cells[below]
        at = below
    keys[at], cells[at] = key, cell
    return size


@njit(cache=True)
def fill(z: Any, outlets: Any) -> Any:
    """(filled levels, cells in the order in which water would rise to them, the way each was met).

    Flood inwards from every outlet, lowest first: the rim, cells beside missing ground, and those
    marked in ``outlets``. Cells no higher than the water stand in a queue before the heap.
    """
    rows, columns = z.shape
    count = rows * columns
    filled = z.copy()
    met = np.full((rows, columns), NO_GROUND, dtype=np.int8)
    seen = np.zeros((rows, columns), dtype=np.bool_)
    order = np.empty(count, dtype=np.int32)
    keys = np.empty(count, dtype=np.float64)
    cells = np.empty(count, dtype=np.int32)
    queue = np.empty(count, dtype=np.int32)
    size = 0
    for row in range(rows):
        for column in range(columns):
            if np.isnan(z[row, column]):
                seen[row, column] = True
                continue
            leaves = outlets[row, column]
            leaves |= row == 0 or column == 0 or row == rows - 1 or column == columns - 1
            if not leaves:
                for k in range(8):
                    if np.isnan(z[row + ROW[k], column + COLUMN[k]]):
                        leaves = True
                        break
            if leaves:
                seen[row, column] = True
                met[row, column] = LEAVES
                size = _push(keys, cells, size, z[row, column], row * columns + column)
    done = head = tail = 0
    while size > 0 or head < tail:
        if head < tail:
            cell = queue[head]
            head += 1
        else:
            cell = cells[0]
            size = _pop(keys, cells, size)
        order[done] = cell
        done += 1
        row, column = cell // columns, cell % columns
        level = filled[row, column]
        for k in range(8):
            r, c = row + ROW[k], column + COLUMN[k]
            if r < 0 or c < 0 or r >= rows or c >= columns or seen[r, c]:
                continue
            seen[r, c] = True
            met[r, c] = k ^ 2
            if z[r, c] <= level:
                filled[r, c] = level
                queue[tail] = r * columns + c
                tail += 1
            else:
                size = _push(keys, cells, size, z[r, c], r * columns + c)
    return filled, order[:done].copy(), met


@njit(cache=True)
def directions(filled: Any, met: Any, outlets: Any, cell_m: float) -> Any:
    """The steepest way down from each cell; where none falls, the way the flood came."""
    rows, columns = filled.shape
    down = met.copy()
    for row in range(rows):
        for column in range(columns):
            if met[row, column] == NO_GROUND or outlets[row, column]:
                continue
            steepest = SAME_SLOPE
            for k in range(8):
                r, c = row + ROW[k], column + COLUMN[k]
                if r < 0 or c < 0 or r >= rows or c >= columns:
                    continue
                slope = (filled[row, column] - filled[r, c]) / (STEP[k] * cell_m)
                if slope > steepest + SAME_SLOPE:
                    steepest = slope
                    down[row, column] = k
    return down


@njit(cache=True)
def gather(down: Any, order: Any) -> Any:
    """Cells whose water passes each cell, itself among them."""
    columns = down.shape[1]
    flat = down.ravel()
    cells = np.zeros(down.size, dtype=np.int32)
    for at in range(len(order) - 1, -1, -1):
        cell = order[at]
        cells[cell] += 1
        k = flat[cell]
        if k >= 0:
            cells[cell + ROW[k] * columns + COLUMN[k]] += cells[cell]
    return cells.reshape(down.shape)


@njit(cache=True)
def hand_up(down: Any, order: Any, marks: Any) -> Any:
    """(mark of the first marked cell each cell's water reaches, else 0; steps to there or out)."""
    columns = down.shape[1]
    flat, first = down.ravel(), marks.ravel().copy()
    away = np.zeros(down.size, dtype=np.float32)
    for cell in order:
        k = flat[cell]
        if first[cell] == 0 and k >= 0:
            below = cell + ROW[k] * columns + COLUMN[k]
            first[cell] = first[below]
            away[cell] = away[below] + STEP[k]
    return first.reshape(down.shape), away.reshape(down.shape)


@njit(cache=True)
def upstream(down: Any, start: int) -> Any:
    """(cells whose water passes one cell, steps from each of them to it)."""
    rows, columns = down.shape
    flat = down.ravel()
    cells = np.empty(down.size, dtype=np.int32)
    away = np.empty(down.size, dtype=np.float64)
    cells[0], away[0] = start, 0.0
    count, at = 1, 0
    while at < count:
        row, column = cells[at] // columns, cells[at] % columns
        for k in range(8):
            r, c = row + ROW[k], column + COLUMN[k]
            if r < 0 or c < 0 or r >= rows or c >= columns:
                continue
            if flat[r * columns + c] == k ^ 2:
                cells[count] = r * columns + c
                away[count] = away[at] + STEP[k]
                count += 1
        at += 1
    return cells[:count].copy(), away[:count].copy()


@njit(cache=True)
def wetness(z: Any, cells: Any, cell_m: float, least_slope: float) -> Any:
    """ln(a / tan b); tan b by Horn's weights, a neighbour that is missing mirrored across."""
    rows, columns = z.shape
    wet = np.full((rows, columns), np.nan, dtype=np.float32)
    near = np.empty(8)
    for row in range(rows):
        for column in range(columns):
            here = z[row, column]
            if np.isnan(here):
                continue
            for k in range(8):
                r, c = row + ROW[k], column + COLUMN[k]
                inside = r >= 0 and c >= 0 and r < rows and c < columns
                near[k] = z[r, c] if inside else np.nan
            for k in range(8):
                if np.isnan(near[k]):
                    near[k] = here if np.isnan(near[k ^ 2]) else 2 * here - near[k ^ 2]
            east = near[7] + 2 * near[3] + near[6] - near[4] - 2 * near[1] - near[5]
            north = near[5] + 2 * near[2] + near[6] - near[4] - 2 * near[0] - near[7]
            slope = np.sqrt(east * east + north * north) / (8 * cell_m)
            wet[row, column] = np.log(cells[row, column] * cell_m / max(slope, least_slope))
    return wet
