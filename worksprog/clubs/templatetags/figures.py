"""How figures are written: one place, so that every page writes them alike."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Any

from django import template

from worksprog.calc.formulas import unit_of

register = template.Library()

NO_FIGURE = "–"


@register.filter
def fig(value: Any, places: int = 0) -> str:
    """A number with thousands parted by commas; an en dash where there is none."""
    if value is None or value == "":
        return NO_FIGURE
    try:
        text = f"{Decimal(str(value)).quantize(Decimal(1).scaleb(-int(places)), ROUND_HALF_EVEN):,}"
    except InvalidOperation:
        # Too large to write out, or no number at all.
        text = f"{float(value):.3g}"
    return text.replace("-", "−")


@register.filter
def signed(value: Any, places: int = 0) -> str:
    """A difference: with its sign, and a bare 0 where there is none."""
    text = fig(value, places)
    if text == NO_FIGURE or not text.strip("−0.,"):
        return text.lstrip("−")
    return text if text.startswith("−") else f"+{text}"


@register.filter
def unit_doubt(unit: str) -> str:
    """Words where a unit is none that is known; "" where it is."""
    try:
        unit_of(unit)
    except ValueError:
        return "a unit that is not known here: it fits only lines that are counted in it"
    return ""


@register.filter
def percent(value: Any, places: int = 0) -> str:
    """A share of one as a percentage."""
    return NO_FIGURE if value is None else f"{fig(Decimal(str(value)) * 100, places)} %"


@register.filter
def gradient(value: float | None) -> str:
    """A fall as the trade says it: '1 in 95'."""
    if value is None:
        return NO_FIGURE
    if value <= 0:
        return "level" if value == 0 else f"rises 1 in {-1 / value:,.0f}"
    return f"1 in {1 / value:,.0f}"


@register.filter
def day(value: date | None) -> str:
    """'18 Mar 2027'."""
    return NO_FIGURE if value is None else f"{value.day} {value:%b %Y}"


@register.simple_tag(takes_context=True)
def money(context: dict[str, Any], amount: Any, places: int = 0) -> str:
    """An amount in the club's currency."""
    if amount is None:
        return NO_FIGURE
    request = context.get("request")
    sign = request.club.currency_sign if request is not None and hasattr(request, "club") else ""
    text = fig(amount, places)
    return f"−{sign}{text[1:]}" if text.startswith("−") else f"{sign}{text}"
