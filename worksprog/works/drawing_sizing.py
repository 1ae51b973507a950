"""A sized design beside what is entered now, as a long section."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString

from worksprog.calc.network import NetworkCheck
from worksprog.calc.sizing import Design, SizingReach, Tree
from worksprog.drainage.drawing.marks import joined

WIDTH, HEIGHT = 760.0, 330.0
LEFT, RIGHT, TOP, FOOT = 58.0, 24.0, 20.0, 62.0
STEPS_M = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
LETTER_PX = 6.2


@dataclass(frozen=True)
class _On:
    """One reach on the way down, chainages measured from the lower end of the branch."""

    reach: SizingReach
    upper_m: float
    lower_m: float


def longest_way(tree: Tree) -> list[SizingReach]:
    """The reaches from the head that lies furthest from the lower end, head first."""
    known = {reach.key: reach for reach in tree.reaches}
    far: dict[str, float] = {}
    for reach in reversed(tree.falling()):
        far[reach.key] = reach.length_m + (far[reach.below] if reach.below else 0.0)
    way = [known[max(far, key=lambda key: far[key])]]
    while (below := way[-1].below) is not None:
        way.append(known[below])
    return way


def draw_beside(tree: Tree, design: Design, check: NetworkCheck) -> SafeString:
    """Ground, the design (solid, with its crown) and what is entered now (dashed)."""
    way = longest_way(tree)
    total = sum(reach.length_m for reach in way)
    placed, done = [], 0.0
    for reach in way:
        placed.append(_On(reach, total - done, total - done - reach.length_m))
        done += reach.length_m
    levels = [level for on in placed for _, level in on.reach.ground]
    for on in placed:
        sized = design.reach(on.reach.key)
        levels += [sized.upstream_m, sized.downstream_m]
        now = check.reach(on.reach.key)
        levels += [
            level for level in (now.upstream_level_m, now.downstream_level_m) if level is not None
        ]
    low, high = min(levels) - 0.2, max(levels) + 0.2
    tall = HEIGHT - TOP - FOOT

    def x(chainage_m: float) -> float:
        return LEFT + (total - chainage_m) / total * (WIDTH - LEFT - RIGHT)

    def y(level_m: float) -> float:
        return TOP + (high - level_m) / (high - low) * tall

    marks = [*_levels(low, high, y)]
    for on in placed:
        marks += _reach(on, design, check, x, y)
    scale = f"Heights drawn ×{_exaggeration(total, low, high):.0f}"
    marks.append(_words(WIDTH - RIGHT, TOP - 6, scale, "end", "siz-small"))
    title = (
        f"Long section of the design from {check.reach(way[0].key).upstream_name} to "
        f"{tree.end.words}, {total:.0f} m, beside what is entered now"
    )
    return format_html(
        '<svg xmlns="http://www.w3.org/2000/svg" class="siz-section" viewBox="0 0 {} {}" '
        'role="img"><title>{}</title>{}</svg>',
        f"{WIDTH:.0f}", f"{HEIGHT:.0f}", title, joined(marks),
    )  # fmt: skip


def _exaggeration(total: float, low: float, high: float) -> float:
    return ((HEIGHT - TOP - FOOT) / (high - low)) / ((WIDTH - LEFT - RIGHT) / total)


def _words(x: float, y: float, words: str, anchor: str, css: str = "siz-words") -> SafeString:
    return format_html(
        '<text class="{}" x="{}" y="{}" text-anchor="{}">{}</text>',
        css, f"{x:.1f}", f"{y:.1f}", anchor, words,
    )  # fmt: skip


def _line(x1: float, y1: float, x2: float, y2: float, css: str) -> SafeString:
    return format_html(
        '<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>',
        css, f"{x1:.1f}", f"{y1:.1f}", f"{x2:.1f}", f"{y2:.1f}",
    )  # fmt: skip


def _levels(low: float, high: float, y: Callable[[float], float]) -> list[SafeString]:
    step = next((one for one in STEPS_M if (high - low) / one <= 7), STEPS_M[-1])
    marks = []
    level = math.ceil(low / step) * step
    while level <= high:
        marks.append(_line(LEFT, y(level), WIDTH - RIGHT, y(level), "siz-hair"))
        marks.append(_words(LEFT - 6, y(level) + 3.5, f"{level:.1f}", "end", "siz-small"))
        level += step
    return marks


def _reach(
    on: _On,
    design: Design,
    check: NetworkCheck,
    x: Callable[[float], float],
    y: Callable[[float], float],
) -> list[SafeString]:
    reach, sized, now = on.reach, design.reach(on.reach.key), check.reach(on.reach.key)
    left, right = x(on.upper_m), x(on.lower_m)
    marks = []
    if reach.ground:
        points = " ".join(
            f"{x(on.upper_m - along):.1f},{y(level):.1f}" for along, level in reach.ground
        )
        marks.append(format_html('<polyline class="siz-ground" points="{}"/>', points))
        at = y(reach.ground[0][1])
        marks.append(_line(left, at, left, y(sized.upstream_m), "siz-chamber"))
    if sized.size is None:
        marks.append(_line(left, y(sized.upstream_m), right, y(sized.downstream_m), "siz-stays"))
        label = f"{(sized.held_inside_m or 0) * 1000:.0f} stays" if sized.held_inside_m else "ditch"
    else:
        inside = sized.size.inside_m
        for lift, css in ((0.0, "siz-design"), (inside, "siz-crown")):
            marks.append(
                _line(left, y(sized.upstream_m + lift), right, y(sized.downstream_m + lift), css)
            )
        if now.upstream_level_m is not None and now.downstream_level_m is not None:
            marks.append(
                _line(left, y(now.upstream_level_m), right, y(now.downstream_level_m), "siz-now")
            )
        label = f"{sized.size.bore_mm} mm"
        if sized.one_in is not None:
            label += f" 1 in {sized.one_in:.0f}"
    room = right - left
    middle, foot = (left + right) / 2, HEIGHT - FOOT + 18
    for number, words in enumerate((reach.name, label)):
        if len(words) * LETTER_PX <= room:
            marks.append(_words(middle, foot + 14 * number, words, "middle"))
    ends = [(left, on.upper_m)] + ([(right, 0.0)] if on.lower_m < 1e-6 else [])
    for at, chainage in ends:
        marks.append(_words(at, foot + 32, f"{chainage:.0f}", "middle", "siz-small"))
    return marks
