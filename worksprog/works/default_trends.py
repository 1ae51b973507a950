"""How groups of prices are taken to rise until a club says otherwise.

Percent a year: low, likely, high. Starting figures without a source, set wide on purpose; each is
shown as such and is the club's to replace.
"""

from __future__ import annotations

from decimal import Decimal

WAGES = "wages"
MACHINES = "machines and fuel"
QUARRY = "stone, sand and soil"
PIPES = "pipes and plastics"
OTHER = "other materials"
CONTRACTORS = "contractors"

DEFAULT_TRENDS: tuple[tuple[str, Decimal, Decimal, Decimal], ...] = (
    (WAGES, Decimal("2"), Decimal("3.5"), Decimal("6")),
    (MACHINES, Decimal("0"), Decimal("3"), Decimal("8")),
    (QUARRY, Decimal("1"), Decimal("4"), Decimal("9")),
    (PIPES, Decimal("-2"), Decimal("3"), Decimal("10")),
    (OTHER, Decimal("1"), Decimal("3"), Decimal("6")),
    (CONTRACTORS, Decimal("2"), Decimal("4"), Decimal("8")),
)

_BY_CATEGORY = {
    "labour": WAGES,
    "plant": MACHINES,
    "haulage": MACHINES,
    "contractor": CONTRACTORS,
}
_BY_CODE = (
    ("stone-", QUARRY),
    ("sand-", QUARRY),
    ("soil-", QUARRY),
    ("pipe-", PIPES),
    ("chamber", PIPES),
)


def usual_trend(category: str, code: str) -> str:
    """The trend that a price of the starting list follows."""
    if category in _BY_CATEGORY:
        return _BY_CATEGORY[category]
    return next((trend for begins, trend in _BY_CODE if code.startswith(begins)), OTHER)
