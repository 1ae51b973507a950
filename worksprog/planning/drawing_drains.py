"""The drains week by week: a strip for each drain that is ever overloaded, as SVG."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils.html import format_html
from django.utils.safestring import SafeString

from worksprog.calc.network.through_time import Spell, ThroughTime
from worksprog.clubs.templatetags.figures import day as day_words
from worksprog.drainage.drawing.marks import joined
from worksprog.planning.drains import short_words

WIDTH, NAMES, ROW, HEAD, FOOT = 960, 110, 30, 26, 8
AFTER = timedelta(weeks=16)  # shown after the last change
LETTER = 6.6  # width of one, about
CLASS = {
    "for_a_time": "passing",
    "until_put_right": "until",
    "for_good": "final",
    "all_along": "standing",
}


def draw_weeks(through: ThroughTime) -> SafeString | None:
    """Weeks across, drains down; what passes is hatched. None where nothing is overloaded."""
    if not through.spells:
        return None
    first = through.states[0].starts_on
    last = through.states[-1].starts_on + AFTER
    per_day = (WIDTH - NAMES) / (last - first).days

    def x(day: date) -> float:
        return round(NAMES + (min(max(day, first), last) - first).days * per_day, 1)

    keys = list(dict.fromkeys(spell.key for spell in through.spells))
    height = HEAD + ROW * len(keys) + FOOT
    parts = [
        SafeString(
            '<defs><pattern id="weeks-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><rect class="weeks-ground" width="6" height="6"/>'
            '<line class="weeks-line" x1="0" y1="0" x2="0" y2="6"/></pattern></defs>'
        )
    ]
    for year in range(first.year, last.year + 1):
        for month in (1, 4, 7, 10) if (last - first).days < 900 else (1,):
            tick = date(year, month, 1)
            if first <= tick <= last:
                parts.append(
                    format_html(
                        '<line class="weeks-tick" x1="{0}" x2="{0}" y1="{1}" y2="{2}"/>'
                        '<text class="weeks-month" x="{3}" y="15">{4}</text>',
                        x(tick), HEAD - 6, height - FOOT, x(tick) + 3, f"{tick:%b %y}",
                    )
                )  # fmt: skip
    parts += [
        format_html(
            '<line class="weeks-change" x1="{0}" x2="{0}" y1="{1}" y2="{2}"/>',
            x(state.starts_on),
            HEAD - 2,
            height - FOOT,
        )
        for state in through.states[1:]
    ]
    for row, key in enumerate(keys):
        top = HEAD + ROW * row
        parts.append(
            format_html(
                '<text class="weeks-name" x="0" y="{}">{}</text>', top + 19, through.names[key][:16]
            )
        )
        parts += [
            _bar(spell, x(spell.starts_on), x(spell.until or last), top)
            for spell in through.spells
            if spell.key == key
        ]
    return format_html(
        '<svg class="drain-weeks" viewBox="0 0 {0} {1}" width="{0}" height="{1}" role="img" '
        'aria-label="Drains that are too small or at fault, by weeks; the list below says the '
        'same">{2}</svg>',
        WIDTH,
        height,
        joined(parts),
    )


def _bar(spell: Spell, left: float, right: float, top: int) -> SafeString:
    passes = spell.is_passing
    words = short_words(spell)
    inside = right - left > len(words) * LETTER + 8
    until = day_words(spell.until) if spell.until else "the end of the plan"
    said = f"{spell.name} {words}, {day_words(spell.starts_on)} to {until}"
    fits_right = right + len(words) * LETTER + 8 < WIDTH
    return format_html(
        '<g><title>{}</title><rect class="weeks-bar {}" x="{}" y="{}" width="{}" height="20"/>'
        '<text class="weeks-words{}" x="{}" y="{}" text-anchor="{}">{}</text></g>',
        said,
        "passing" if passes else CLASS[spell.lasts],
        left,
        top + 4,
        round(max(right - left, 3), 1),
        " on-hatch" if passes and inside else "",
        round(left + 6, 1) if inside else round(right + 5, 1) if fits_right else left - 5,
        top + 18,
        "start" if inside or fits_right else "end",
        words,
    )
