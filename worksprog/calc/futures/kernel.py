"""The compiled serial scheme: job after job in the plan's order, day after day, future by future."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Days = NDArray[np.int16]
Bytes = NDArray[np.uint8]
Places = NDArray[np.int32]

FS, SS, FF, SF = 0, 1, 2, 3
LEAST = 1e-9


@njit(cache=True, nogil=True)
def follow(
    begin: int,
    end: int,
    amounts: Floats,
    crew_h: Floats,
    a_day: Floats,
    share: Floats,
    needs_crew: Bytes,
    earliest: Ints,
    opening: Ints,
    condition: Ints,
    fits: Ints,
    next_open: Places,
    left_in_run: Places,
    next_run: Places,
    link_begin: Ints,
    link_first: Ints,
    link_kind: Ints,
    link_lag: Ints,
    link_working: Bytes,
    worked_before: Places,
    workday: Places,
    block: Ints,
    day_of: Ints,
    year_of: Ints,
    workable: Bytes,
    finish: Days,
    lost: Days,
) -> None:
    """Futures ``begin`` to ``end``. ``finish`` is half open: the day after the last of work.

    fits[i]  working days that must be left in its window for it to begin there; 0 for none
    workable bits of a day in a year: 1 the ground bears, 2 the open air
    """
    days = len(crew_h)
    count = len(earliest)
    free = np.empty(days)
    start_of = np.empty(count, dtype=np.int64)
    finish_of = np.empty(count, dtype=np.int64)
    for future in range(begin, end):
        free[:] = crew_h
        for job in range(count):
            day = earliest[job]
            not_before = 0
            for link in range(link_begin[job], link_begin[job + 1]):
                first, kind = link_first[link], link_kind[link]
                from_day = finish_of[first] if kind in (FS, FF) else start_of[first]
                if link_working[link]:
                    place = worked_before[min(max(from_day, 0), days)] + link_lag[link]
                    from_day = workday[min(max(place, 0), len(workday) - 1)]
                else:
                    from_day += link_lag[link]
                if kind in (FS, SS):
                    day = max(day, from_day)
                else:
                    not_before = max(not_before, from_day)
            day = min(day, days)
            left = amounts[job, future]
            begun = left <= LEAST
            start, last, wet = day, day - 1, 0
            which, needed = opening[job], fits[job]
            bit = condition[job]
            while left > LEAST:
                day = next_open[which, day]
                if day >= days:
                    break
                if not begun and left_in_run[which, day] < needed:
                    day = next_run[which, day]
                    continue
                if workable[year_of[future, block[day]], day_of[day]] & bit == 0:
                    wet += 1
                    day += 1
                    continue
                done = min(a_day[job], left)
                if needs_crew[job]:
                    done = min(done, free[day], share[job] * crew_h[day])
                    free[day] -= done
                if done > LEAST:
                    left -= done
                    last = day
                    if not begun:
                        begun, start = True, day
                day += 1
            if left > LEAST:
                start_of[job] = start if begun else days
                finish_of[job] = days + 1
            else:
                start_of[job] = start
                finish_of[job] = min(max(last + 1, not_before), days + 1)
            finish[job, future] = finish_of[job]
            lost[job, future] = wet
