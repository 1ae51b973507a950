"""Marks of a drawing in millimetres: lines and letters whose width is known beforehand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

INK, SOFT, HAIR = "#1a2320", "#4d5751", "#d6d0c2"
GROUND, WATER = "#6b5d4b", "#1d5a76"
MONO = "IBM Plex Mono, IBM Plex Mono Ext, DejaVu Sans Mono, monospace"
EM = 0.602  # width of every letter of the mono faces


def width_mm(words: str, size: float) -> float:
    return len(words) * size * EM


def fitted(words: str, room_mm: float, size: float) -> str:
    """The words, shortened with a dot-dot-dot to what has room; "" where hardly a letter has."""
    most = int(room_mm / (size * EM))
    if len(words) <= most:
        return words
    return f"{words[: most - 1].rstrip()}…" if most >= 4 else ""


def wrapped(words: str, room_mm: float, size: float, lines: int) -> list[str]:
    """The words on at most so many lines; the last one is shortened where they do not fit."""
    most = max(4, int(room_mm / (size * EM)))
    found: list[str] = []
    for word in words.split(" "):
        if found and len(found[-1]) + 1 + len(word) <= most:
            found[-1] += f" {word}"
        else:
            found.append(word)
    if len(found) > lines:
        found = [*found[: lines - 1], " ".join(found[lines - 1 :])]
    return [fitted(line, room_mm, size) for line in found]


def joined(parts: Iterable[SafeString]) -> SafeString:
    return format_html_join("", "{}", ((part,) for part in parts))


def line(
    x1: float, y1: float, x2: float, y2: float, *, width: float = 0.18, stroke: str = INK,
    dash: str = "",
) -> SafeString:  # fmt: skip
    return format_html(
        '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="{}"{}/>',
        f"{x1:.3f}", f"{y1:.3f}", f"{x2:.3f}", f"{y2:.3f}", stroke, width, _dashed(dash),
    )  # fmt: skip


def polyline(
    points: Sequence[tuple[float, float]], *, width: float, stroke: str = INK, dash: str = ""
) -> SafeString:
    return format_html(
        '<polyline points="{}" fill="none" stroke="{}" stroke-width="{}" '
        'stroke-linejoin="round"{}/>',
        " ".join(f"{x:.3f},{y:.3f}" for x, y in points), stroke, width, _dashed(dash),
    )  # fmt: skip


def box(
    x: float, y: float, wide: float, high: float, *, width: float = 0.18, fill: str = "none",
    stroke: str = INK,
) -> SafeString:  # fmt: skip
    return format_html(
        '<rect x="{}" y="{}" width="{}" height="{}" fill="{}" stroke="{}" stroke-width="{}"/>',
        f"{x:.3f}", f"{y:.3f}", f"{wide:.3f}", f"{high:.3f}", fill, stroke, width,
    )  # fmt: skip


def letters(
    x: float, y: float, words: str, *, size: float, anchor: str = "start", fill: str = INK,
    weight: int = 400, upright: bool = False,
) -> SafeString:  # fmt: skip
    """Words from a point on their foot line; ``upright`` runs them from the foot of the sheet up."""
    if not words:
        return SafeString("")
    turned = f"rotate(-90 {x:.3f} {y:.3f})" if upright else "rotate(0)"
    return format_html(
        '<text x="{}" y="{}" font-family="{}" font-size="{}" font-weight="{}" text-anchor="{}" '
        'fill="{}" transform="{}">{}</text>',
        f"{x:.3f}", f"{y:.3f}", MONO, size, weight, anchor, fill, turned, words,
    )  # fmt: skip


def _dashed(dash: str) -> SafeString:
    return format_html(' stroke-dasharray="{}"', dash) if dash else SafeString("")
