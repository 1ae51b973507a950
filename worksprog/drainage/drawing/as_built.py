"""Built levels against the design along one drain, as SVG: chainage to the right, downstream."""

from __future__ import annotations

from django.utils.html import format_html
from django.utils.safestring import SafeString

from worksprog.drainage.drawing.marks import joined
from worksprog.drainage.drawing.page import ACCENT, HAIR, INK, MONO, SOFT
from worksprog.drainage.queries.as_built import ReachAsBuilt

WIDE, HIGH, LEFT, RIGHT, TOP, BOTTOM = 760.0, 260.0, 64.0, 18.0, 24.0, 40.0


def draw_as_built(one: ReachAsBuilt) -> SafeString | None:
    """None where there is nothing to set side by side."""
    design = one.design
    if design is None or not one.levels:
        return None
    drawn = [level for level in (design.upstream_m, design.downstream_m) if level is not None]
    every = [*drawn, *(level.level_m for level in one.levels)]
    low, high = min(every), max(every)
    spread = max(high - low, 0.05)

    def x(chainage_m: float) -> float:
        return LEFT + (WIDE - LEFT - RIGHT) * min(1.0, max(0.0, chainage_m / design.length_m))

    def y(level_m: float) -> float:
        return TOP + (HIGH - TOP - BOTTOM) * (high - level_m) / spread

    parts: list[SafeString] = []
    for line_m in (low, (low + high) / 2, high):
        parts.append(
            format_html(
                '<line class="draw-hair" x1="{}" x2="{}" y1="{}" y2="{}" stroke="{}"/>'
                '<text class="draw-soft-fill" x="{}" y="{}" text-anchor="end" fill="{}" '
                'font-family="{}" font-size="11">{}</text>',
                LEFT, WIDE - RIGHT, f"{y(line_m):.1f}", f"{y(line_m):.1f}", HAIR,
                LEFT - 6, f"{y(line_m) + 4:.1f}", SOFT, MONO, f"{line_m:.2f}",
            )
        )  # fmt: skip
    if len(drawn) == 2:
        parts.append(
            format_html(
                '<line class="draw-ink" x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" '
                'stroke-dasharray="7 4" stroke-width="1.5"/>',
                f"{x(0):.1f}", f"{y(drawn[0]):.1f}", f"{x(design.length_m):.1f}",
                f"{y(drawn[1]):.1f}", INK,
            )
        )  # fmt: skip
    for row in one.stretches:
        a, b = row.stretch.upper, row.stretch.lower
        wrong = row.stretch.backfall == "yes"
        parts.append(
            format_html(
                '<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}" stroke="{}" stroke-width="{}"/>',
                "draw-accent" if wrong else "draw-ink", f"{x(a.chainage_m):.1f}",
                f"{y(a.level_m):.1f}", f"{x(b.chainage_m):.1f}", f"{y(b.level_m):.1f}",
                ACCENT if wrong else INK, 4 if wrong else 2,
            )
        )  # fmt: skip
    last_words = -100.0
    for level in one.levels:
        px, py = x(level.chainage_m), y(level.level_m)
        parts.append(
            format_html(
                '<circle class="draw-ink-fill" cx="{}" cy="{}" r="3.5" fill="{}"><title>'
                "chainage {} m, {} m</title></circle>",
                f"{px:.1f}", f"{py:.1f}", INK, f"{level.chainage_m:.1f}", f"{level.level_m:.3f}",
            )
        )  # fmt: skip
        if px - last_words >= 46:
            last_words = px
            parts.append(
                format_html(
                    '<text class="draw-soft-fill" x="{}" y="{}" text-anchor="middle" fill="{}" '
                    'font-family="{}" font-size="11">{}</text>',
                    f"{px:.1f}", HIGH - 20, SOFT, MONO, f"{level.chainage_m:.1f}",
                )
            )  # fmt: skip
    words = (
        f"Built levels of {one.feature} against its design; "
        f"{len(one.backfalls)} backfalls. Built is drawn full, design dashed, a backfall thick."
    )
    return format_html(
        '<svg viewBox="0 0 {} {}" role="img" aria-label="{}">{}<text class="draw-soft-fill" x="{}" '
        'y="{}" text-anchor="end" fill="{}" font-family="{}" font-size="11">chainage m, '
        "downstream</text></svg>",
        int(WIDE), int(HIGH), words, joined(parts),
        WIDE - RIGHT, HIGH - 4, SOFT, MONO,
    )  # fmt: skip
