"""A pond's curve of volume against level, with its outlets and bank, as SVG."""

from __future__ import annotations

import numpy as np
from django.utils.html import format_html
from django.utils.safestring import SafeString

from worksprog.calc.routing import Pond
from worksprog.drainage.drawing.marks import joined

WIDTH, HEIGHT = 720.0, 380.0
LEFT, RIGHT, TOP, BOTTOM = 62.0, 190.0, 18.0, 46.0
LETTERS_APART = 15.0


def _steps(low: float, high: float, about: int) -> list[float]:
    rough = (high - low) / about or 1.0
    size = 10 ** np.floor(np.log10(rough))
    step = min((one * size for one in (1, 2, 5, 10) if one * size >= rough), default=rough)
    first = abs(low) and np.ceil(low / step - 1e-9) * step
    return [float(one) + 0.0 for one in np.arange(first, high + step * 1e-6, step)]


def draw_pond(pond: Pond) -> SafeString:
    """Level upwards, volume to the right; outlets, bank and usual level at their heights."""
    low, bank = pond.levels_m[0], pond.bank_level_m
    bottom = min([low, *(one.level_m for one in pond.outlets)])
    top = bank + 0.08 * (bank - bottom)
    most = float(pond.volumes_at(bank)) or 1.0
    wide, high = WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM

    def x(volume: float) -> float:
        return LEFT + volume / most * wide

    def y(level: float) -> float:
        return TOP + (top - level) / (top - bottom) * high

    levels = np.union1d(np.linspace(low, bank, 60), [one for one in pond.levels_m if one <= bank])
    curve = " ".join(
        f"{x(float(volume)):.1f},{y(float(level)):.1f}"
        for level, volume in zip(levels, pond.volumes_at(levels), strict=True)
    )
    parts = [
        format_html('<path class="pond-frame" d="M{} {} V{} H{}"/>',
                    LEFT, TOP, HEIGHT - BOTTOM, WIDTH - RIGHT),
        format_html('<polyline class="pond-curve" points="{}"/>', curve),
    ]  # fmt: skip
    for level in _steps(bottom, top, 6):
        parts.append(
            format_html('<text class="pond-fig" text-anchor="end" x="{}" y="{}">{}</text>',
                        LEFT - 8, f"{y(level) + 4:.1f}", f"{level:.2f}")
        )  # fmt: skip
    for volume in _steps(0, most, 5):
        parts.append(
            format_html('<text class="pond-fig" text-anchor="middle" x="{}" y="{}">{}</text>',
                        f"{x(volume):.1f}", HEIGHT - BOTTOM + 18, f"{volume:,.0f}")
        )  # fmt: skip
    parts.append(
        format_html('<text class="pond-words" text-anchor="middle" x="{}" y="{}">'
                    "water above the lowest stage, m³</text>", LEFT + wide / 2, HEIGHT - 8)
    )  # fmt: skip
    marks = [(bank, f"bank {bank:.2f} m", "pond-bank"),
             (pond.start_m, f"before the rain {pond.start_m:.2f} m", "pond-start")]  # fmt: skip
    for outlet in pond.outlets:
        size = (
            f"{outlet.width_m:g} m"
            if outlet.kind == "weir"
            else f"{(outlet.diameter_m or 0) * 1000:.0f} mm"
        )
        marks.append((outlet.level_m, f"{outlet.kind} {size}, {outlet.level_m:.2f} m", "pond-out"))
    marks.sort(key=lambda one: -one[0])
    words_at = -LETTERS_APART
    for level, words, css in marks:
        here = y(level)
        words_at = max(here + 4, words_at + LETTERS_APART)
        parts.append(
            format_html(
                '<path class="{}" d="M{} {} H{} L{} {}"/><text class="pond-words" x="{}" y="{}">{}'
                "</text>",
                css, LEFT, f"{here:.1f}", WIDTH - RIGHT, WIDTH - RIGHT + 14, f"{words_at - 4:.1f}",
                WIDTH - RIGHT + 18, f"{words_at:.1f}", words,
            )
        )  # fmt: skip
    return format_html(
        '<svg class="pond-drawing" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>',
        f"{WIDTH:.0f}",
        f"{HEIGHT:.0f}",
        f"Volume by level of {pond.name}, with its outlets and bank",
        joined(parts),
    )
