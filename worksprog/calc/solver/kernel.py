"""The compiled part: placing tasks one after another, forwards and backwards, and the search.

A serial schedule (Kolisch 1996) over an order of the tasks; justification (Valls, Ballestin and
Quintanilla 2005); a genetic search over orders with two-point crossover (Hartmann 1998). Page
numbers from memory.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from worksprog.calc.solver.packed import F64, I32, I64, B, Packed
from worksprog.calc.solver.problem import LEFT_OUT


@njit(cache=True, nogil=True)
def _shift(workday_of: I32, day_of: I32, days: int, day: int, lag: int, working: bool) -> int:
    """A day so many days later, or so many working days of the club."""
    if lag == 0 or not working:
        return day + lag
    place = workday_of[min(max(day, 0), days)] + lag
    if place < 0:
        return 0
    if place >= day_of.size:
        return days
    return int(day_of[place])


# Rows are indexed, never sliced, and a problem's arrays are taken out of it once a call: what a
# slice or a tuple of forty arrays costs in counting references is forty times the arithmetic.


@njit(cache=True, nogil=True)
def _blocked(
    free: I64,
    worked: B,
    mask: int,
    need_of: I32,
    need_amount: I64,
    need_from: int,
    need_to: int,
    hold_of: I32,
    hold_amount: I64,
    hold_until: I32,
    hold_from: int,
    hold_to: int,
    start: int,
    finish: int,
    in_play: int,
    days: int,
) -> int:
    """-1 where a task fits, else the last day on which it lacks something that it needs, or the
    day before its start where it lacks something to hold."""
    last = -1
    for k in range(need_from, need_to):
        of, amount = need_of[k], need_amount[k]
        for day in range(finish - 1, max(start, last + 1) - 1, -1):
            if free[of, day] < amount and worked[mask, day]:
                last = day
                break
    if last >= 0:
        return last
    for k in range(hold_from, hold_to):
        of, amount = hold_of[k], hold_amount[k]
        end = finish if hold_until[k] == 0 else (in_play if hold_until[k] == 1 else days)
        for day in range(start, end):
            if free[of, day] < amount:
                return start
    return -1


@njit(cache=True, nogil=True)
def _take(
    free: I64,
    worked: B,
    mask: int,
    need_of: I32,
    need_amount: I64,
    need_from: int,
    need_to: int,
    hold_of: I32,
    hold_amount: I64,
    hold_until: I32,
    hold_from: int,
    hold_to: int,
    start: int,
    finish: int,
    in_play: int,
    days: int,
) -> None:
    for k in range(need_from, need_to):
        of, amount = need_of[k], need_amount[k]
        for day in range(start, finish):
            if worked[mask, day]:
                free[of, day] -= amount
    for k in range(hold_from, hold_to):
        of, amount = hold_of[k], hold_amount[k]
        end = finish if hold_until[k] == 0 else (in_play if hold_until[k] == 1 else days)
        for day in range(start, end):
            free[of, day] -= amount


@njit(cache=True, nogil=True)
def place_forwards(p: Packed, order: I32, way: I32, start: I32, free: I64) -> None:
    """Each task of the order at its earliest place; -1 in ``start`` where there is none.

    ``order`` names a task after all it waits for. ``free`` is room for what is left. Fixed tasks
    take theirs first.
    """
    days, tasks, most_ways, finish = p.days, p.tasks, p.most_ways, p.finish
    mask, worked, grows = p.mask, p.worked, p.grows
    need_at, need_of, need_amount = p.need_at, p.need_of, p.need_amount
    hold_at, hold_of = p.hold_at, p.hold_of
    hold_amount, hold_until = p.hold_amount, p.hold_until
    gain_at, gain_of, gain_row, gain_days = p.gain_at, p.gain_of, p.gain_row, p.gain_days
    before_at, before_of, before_kind = p.before_at, p.before_of, p.before_kind
    before_lag, before_working = p.before_lag, p.before_working
    workday_of, day_of = p.workday_of, p.day_of
    fixed_start, fixed_way = p.fixed_start, p.fixed_way
    free[:, :] = p.capacity
    for task in range(tasks):
        start[task] = -1
    for turn in range(2):
        for k in range(tasks):
            # The fixed ones first, then the others in their order.
            task = k if turn == 0 else order[k]
            if (fixed_start[task] >= 0) != (turn == 0):
                continue
            if turn == 0:
                way[task] = fixed_way[task]
            row = task * most_ways + way[task]
            earliest, at_least, lost = 0, 0, False
            if turn == 0:
                earliest = fixed_start[task]
            else:
                for b in range(before_at[task], before_at[task + 1]):
                    other = before_of[b]
                    if start[other] < 0:
                        lost = True
                        break
                    kind = before_kind[b]
                    base = start[other]
                    if kind == 0 or kind == 2:
                        base = finish[other * most_ways + way[other], base]
                    bound = _shift(workday_of, day_of, days, base, before_lag[b], before_working[b])
                    if kind < 2:
                        earliest = max(earliest, bound)
                    else:
                        at_least = max(at_least, bound)
            if lost:
                continue
            day = earliest
            while day < days:
                end = finish[row, day]
                if turn == 1 and (end < 0 or end < at_least):
                    day += 1
                    continue
                in_play = min(end + grows[task], days)
                if turn == 1:
                    blocked = _blocked(
                        free,
                        worked,
                        mask[task],
                        need_of,
                        need_amount,
                        need_at[row],
                        need_at[row + 1],
                        hold_of,
                        hold_amount,
                        hold_until,
                        hold_at[task],
                        hold_at[task + 1],
                        day,
                        end,
                        in_play,
                        days,
                    )
                    if blocked >= 0:
                        day = blocked + 1
                        continue
                start[task] = day
                _take(
                    free,
                    worked,
                    mask[task],
                    need_of,
                    need_amount,
                    need_at[row],
                    need_at[row + 1],
                    hold_of,
                    hold_amount,
                    hold_until,
                    hold_at[task],
                    hold_at[task + 1],
                    day,
                    end,
                    in_play,
                    days,
                )
                for g in range(gain_at[task], gain_at[task + 1]):
                    for later in range(in_play, days):
                        free[gain_of[g], later] += gain_days[gain_row[g], later]
                break


@njit(cache=True, nogil=True)
def _place_backwards(p: Packed, order: I32, way: I32, start: I32, end: int, free: I64) -> bool:
    """Each task of the reversed order at its latest place before ``end``; False where one has none.

    What tasks give back is left out, so the result is an order to go by, not a schedule.
    """
    days, tasks, most_ways, finish = p.days, p.tasks, p.most_ways, p.finish
    mask, worked, grows = p.mask, p.worked, p.grows
    need_at, need_of, need_amount = p.need_at, p.need_of, p.need_amount
    hold_at, hold_of = p.hold_at, p.hold_of
    hold_amount, hold_until = p.hold_amount, p.hold_until
    after_at, after_of, after_kind = p.after_at, p.after_of, p.after_kind
    after_lag, after_working = p.after_lag, p.after_working
    workday_of, day_of, fixed_start = p.workday_of, p.day_of, p.fixed_start
    free[:, :] = p.capacity
    for k in range(tasks - 1, -1, -1):
        task = order[k]
        row = task * most_ways + way[task]
        if fixed_start[task] >= 0:
            start[task] = fixed_start[task]
            continue
        latest, not_after = end, end
        for a in range(after_at[task], after_at[task + 1]):
            other = after_of[a]
            kind = after_kind[a]
            base = start[other]
            if kind >= 2:
                base = finish[other * most_ways + way[other], base]
            bound = _shift(workday_of, day_of, days, base, -after_lag[a], after_working[a])
            if kind == 0 or kind == 2:
                not_after = min(not_after, bound)
            else:
                latest = min(latest, bound)
        day = min(latest, not_after, days - 1)
        found = False
        while day >= 0:
            over = finish[row, day]
            if over >= 0 and over <= not_after:
                in_play = min(over + grows[task], days)
                blocked = _blocked(
                    free,
                    worked,
                    mask[task],
                    need_of,
                    need_amount,
                    need_at[row],
                    need_at[row + 1],
                    hold_of,
                    hold_amount,
                    hold_until,
                    hold_at[task],
                    hold_at[task + 1],
                    day,
                    over,
                    in_play,
                    days,
                )
                if blocked < 0:
                    start[task] = day
                    _take(
                        free,
                        worked,
                        mask[task],
                        need_of,
                        need_amount,
                        need_at[row],
                        need_at[row + 1],
                        hold_of,
                        hold_amount,
                        hold_until,
                        hold_at[task],
                        hold_at[task + 1],
                        day,
                        over,
                        in_play,
                        days,
                    )
                    found = True
                    break
            day -= 1
        if not found:
            return False
    return True


@njit(cache=True, nogil=True)
def goal_of(p: Packed, way: I32, start: I32) -> float:
    """What a schedule costs: its length, its tasks' days until in play, their money."""
    total, longest = 0.0, 0
    for task in range(p.tasks):
        if start[task] < 0:
            total += LEFT_OUT
            continue
        row = task * p.most_ways + way[task]
        finish = p.finish[row, start[task]]
        longest = max(longest, finish)
        total += p.weight[task] * (finish + p.grows[task]) + p.cost[row]
    return total + p.makespan_weight * longest


@njit(cache=True, nogil=True)
def _by_start(p: Packed, order: I32, start: I32, key: I64) -> None:
    """Order the tasks by their starts; of equal ones what stood first stays first.

    Stable, so that a task of no days stays after what it waits for.
    """
    for k in range(p.tasks):
        task = order[k]
        key[task] = (p.days if start[task] < 0 else start[task]) * p.tasks + k
    sorted_tasks = np.argsort(key)
    for k in range(p.tasks):
        order[k] = sorted_tasks[k]


@njit(cache=True, nogil=True)
def _by_finish(p: Packed, order: I32, way: I32, start: I32, key: I64) -> None:
    for k in range(p.tasks):
        task = order[k]
        finish = p.days
        if start[task] >= 0:
            finish = p.finish[task * p.most_ways + way[task], start[task]]
        key[task] = finish * p.tasks + k
    sorted_tasks = np.argsort(key)
    for k in range(p.tasks):
        order[k] = sorted_tasks[k]


@njit(cache=True, nogil=True)
def _keeps_order(p: Packed, order: I32, seen: I32) -> bool:
    for k in range(p.tasks):
        seen[order[k]] = k
    for task in range(p.tasks):
        for b in range(p.before_at[task], p.before_at[task + 1]):
            other = p.before_of[b]
            if p.fixed_start[other] < 0 and seen[other] > seen[task]:
                return False
    return True


@njit(cache=True, nogil=True)
def improve(
    p: Packed, order: I32, way: I32, start: I32, free: I64, spare: I32, again: I32, key: I64
) -> float:
    """Place an order forwards, then justify it to the right and to the left once.

    Leaves the better of the two in ``start`` and its order in ``order``; returns its goal.
    """
    place_forwards(p, order, way, start, free)
    best = goal_of(p, way, start)
    if best >= LEFT_OUT:
        _by_start(p, order, start, key)
        return best
    longest = 0
    for task in range(p.tasks):
        longest = max(longest, p.finish[task * p.most_ways + way[task], start[task]])
    again[:] = order
    _by_finish(p, again, way, start, key)
    if _keeps_order(p, again, spare) and _place_backwards(p, again, way, spare, longest, free):
        _by_start(p, again, spare, key)
        if _keeps_order(p, again, spare):
            place_forwards(p, again, way, spare, free)
            other = goal_of(p, way, spare)
            if other <= best:
                best = other
                start[:] = spare
                order[:] = again
    again[:] = order
    _by_start(p, again, start, key)
    if _keeps_order(p, again, spare):
        order[:] = again
    return best


@njit(cache=True, nogil=True)
def random_order(p: Packed, priority: F64, order: I32, waits: I32) -> None:
    """An order that names each task after all it waits for, lowest priority number first."""
    waits[:] = 0
    for task in range(p.tasks):
        waits[task] = p.before_at[task + 1] - p.before_at[task]
    done = np.zeros(p.tasks, dtype=np.bool_)
    for k in range(p.tasks):
        chosen = -1
        for task in range(p.tasks):
            if done[task] or waits[task] > 0:
                continue
            if chosen < 0 or priority[task] < priority[chosen]:
                chosen = task
        order[k] = chosen
        done[chosen] = True
        for a in range(p.after_at[chosen], p.after_at[chosen + 1]):
            waits[p.after_of[a]] -= 1


@njit(cache=True, nogil=True)
def _cross(mother: I32, father: I32, child: I32, first: int, last: int, used: I32) -> None:
    """Two-point crossover: the mother's ends, between them the rest in the father's order.

    Keeps what waits after what it waits for, since both parents do.
    """
    n = mother.size
    used[:] = 0
    for k in range(first):
        child[k] = mother[k]
        used[mother[k]] = 1
    k, place = 0, first
    while place < last:
        task = father[k]
        if used[task] == 0:
            child[place] = task
            used[task] = 1
            place += 1
        k += 1
    for j in range(n):
        if used[mother[j]] == 0:
            child[place] = mother[j]
            place += 1


@njit(cache=True, nogil=True)
def _waits_for(p: Packed, task: int, other: int) -> bool:
    found = False
    for b in range(p.before_at[task], p.before_at[task + 1]):
        found = found or p.before_of[b] == other
    return found


@njit(cache=True, nogil=True)
def breed(
    p: Packed,
    orders: I32,
    ways: I32,
    starts: I32,
    goals: F64,
    generations: int,
    seed: int,
    change: float,
    enough: float,
) -> int:
    """So many generations in place, best first at their end; returns how many were bred.

    ``change``: chance that two neighbours in a child's order change places, and that a task is
    done in another way. Stops once the best goal is ``enough`` or less.
    """
    np.random.seed(seed)
    many, n = orders.shape
    free = np.empty_like(p.capacity)
    spare, again, used = np.empty(n, np.int32), np.empty(n, np.int32), np.empty(n, np.int32)
    key = np.empty(n, np.int64)
    all_orders = np.empty((2 * many, n), np.int32)
    all_ways = np.empty((2 * many, n), np.int32)
    all_starts = np.empty((2 * many, n), np.int32)
    all_goals = np.empty(2 * many)
    for generation in range(generations):
        if goals.min() <= enough:
            return generation
        all_orders[:many], all_ways[:many] = orders, ways
        all_starts[:many], all_goals[:many] = starts, goals
        pairs = np.random.permutation(many)
        for place in range(0, many - 1, 2):
            for turn in range(2):
                mother = pairs[place + turn]
                father = pairs[place + 1 - turn]
                child = many + place + turn
                first = np.random.randint(0, n)
                last = np.random.randint(first, n + 1)
                _cross(orders[mother], orders[father], all_orders[child], first, last, used)
                for task in range(n):
                    all_ways[child, task] = ways[mother, task]
                for k in range(first, last):
                    task = all_orders[child, k]
                    all_ways[child, task] = ways[father, task]
                for k in range(n - 1):
                    if np.random.random() < change:
                        one, other = all_orders[child, k], all_orders[child, k + 1]
                        if not _waits_for(p, other, one):
                            all_orders[child, k], all_orders[child, k + 1] = other, one
                for task in range(n):
                    if p.ways[task] > 1 and np.random.random() < change:
                        all_ways[child, task] = np.random.randint(0, p.ways[task])
                all_goals[child] = improve(
                    p, all_orders[child], all_ways[child], all_starts[child], free, spare, again,
                    key,
                )  # fmt: skip
        if many % 2:
            last_one = 2 * many - 1
            all_orders[last_one], all_ways[last_one] = orders[0], ways[0]
            all_starts[last_one], all_goals[last_one] = starts[0], goals[0]
        ranked = np.argsort(all_goals, kind="mergesort")
        kept = 0
        for k in range(2 * many):
            one = ranked[k]
            if kept == many:
                break
            # Of schedules alike one is enough, while there are others to fill the place.
            same = False
            if kept and goals[kept - 1] == all_goals[one] and 2 * many - k > many - kept:
                same = True
                for task in range(n):
                    if starts[kept - 1, task] != all_starts[one, task]:
                        same = False
                        break
            if same:
                continue
            orders[kept], ways[kept] = all_orders[one], all_ways[one]
            starts[kept], goals[kept] = all_starts[one], all_goals[one]
            kept += 1
    return generations
