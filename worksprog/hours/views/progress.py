"""What a programme was planned to take, what is done of it, and what it took."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from worksprog.calc.earned_value import EarnedValue
from worksprog.calc.progress_chart import CurveValue, s_curve_chart
from worksprog.calc.working import Working
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.hours.queries.progress import CurvePoint, ProgrammeValue, earned_value
from worksprog.works.models import Programme


@dataclass(frozen=True)
class Figure:
    """One figure of the page with its working and words on what it means."""

    name: str
    value: float | None
    places: int
    unit: str
    words: str
    working: Working | None


def _verdict(value: EarnedValue) -> tuple[str, str]:
    spi, cpi = value.spi, value.cpi
    if spi is None:
        time = "nothing is due yet by the plan"
    elif abs(spi - 1) < 0.005:
        time = "as planned"
    else:
        time = f"{abs(1 - spi):.0%} {'ahead of' if spi > 1 else 'behind'} the plan".replace(
            "%", " %"
        )
    if cpi is None:
        cost = "nothing is spent yet"
    elif abs(cpi - 1) < 0.005:
        cost = "as estimated"
    else:
        share = f"{abs(1 / cpi - 1):.0%}".replace("%", " %") if cpi else ""
        if not cpi:
            cost = "nothing measured for it yet"
        else:
            cost = f"{share} {'less' if cpi > 1 else 'more'} than the work was to take"
    return time, cost


def _figures(kind: str, value: EarnedValue, workings: dict[str, Working]) -> list[Figure]:
    time, cost = _verdict(value)
    unit = value.unit
    rows: list[tuple[str, str, float | None, int, str, str]] = [
        ("bac", "Budget", value.bac, 0, unit, "likely, live estimates"),
        ("pv", "Planned to the day", value.pv, 0, unit, "PV"),
        ("ev", "Earned", value.ev, 0, unit, f"EV; {time}"),
        ("ac", "Actual", value.ac, 0, unit, f"AC; {cost}"),
        ("schedule_variance", "Ahead or behind", value.schedule_variance, 0, unit, "EV − PV"),
        ("cost_variance", "Under or over", value.cost_variance, 0, unit, "EV − AC"),
        ("spi", "Schedule index", value.spi, 2, "", "EV ÷ PV; under 1 is behind"),
        ("cpi", "Cost index", value.cpi, 2, "", "EV ÷ AC; under 1 takes more than estimated"),
        (
            "eac_rest_at_plan",
            "At completion, rest as estimated",
            value.eac_rest_at_plan,
            0,
            unit,
            "AC + (BAC − EV)",
        ),
        (
            "eac_rest_as_so_far",
            "At completion, rest as so far",
            value.eac_rest_as_so_far,
            0,
            unit,
            "BAC ÷ CPI",
        ),
        (
            "eac_rest_as_so_far_and_late",
            "At completion, making up for the lag",
            value.eac_rest_as_so_far_and_late,
            0,
            unit,
            "AC + (BAC − EV) ÷ (CPI × SPI)",
        ),
        (
            "tcpi",
            "Index to keep for the budget",
            value.tcpi_to_budget,
            2,
            "",
            "(BAC − EV) ÷ (BAC − AC)",
        ),
    ]
    return [
        Figure(name, figure, places, unit_, words, workings.get(f"{kind}_{key}"))
        for key, name, figure, places, unit_, words in rows
    ]


def _curve(points: Sequence[CurvePoint], by_hours: bool) -> list[CurveValue]:
    if by_hours:
        return [CurveValue(one.on, one.pv_h, one.ev_h, one.ac_h) for one in points]
    return [CurveValue(one.on, one.pv_money, one.ev_money, one.ac_money) for one in points]


def _day(request: ClubRequest) -> date:
    """The day asked for, never a day to come: nothing is measured there."""
    today = request.club.today()
    try:
        return min(date.fromisoformat(request.GET.get("on", "")), today)
    except ValueError:
        return today


def _context(value: ProgrammeValue) -> dict[str, Any]:
    sign = value.money.unit
    return {
        "value": value,
        "parts": [
            ("Hours of the crew", "hours", _figures("hours", value.hours, value.workings)),
            (f"Money, {sign}", "money", _figures("money", value.money, value.workings)),
        ],
        "charts": {
            "hours": s_curve_chart(_curve(value.curve, True), today=value.on, unit="crew hours"),
            "money": s_curve_chart(_curve(value.curve, False), today=value.on, unit=sign),
        },
    }


@require_safe
@club_page("progress.read")
def progress(request: ClubRequest) -> HttpResponse:
    programmes = list(Programme.objects.filter(club=request.club))
    asked = request.GET.get("programme", "")
    chosen: Programme | None = programmes[0] if programmes else None
    if asked:
        with suppress(ValueError):
            chosen = get_row(Programme, request.club, UUID(asked))
    on = _day(request)
    context: dict[str, Any] = {
        "programmes": programmes,
        "programme": chosen,
        "on": on,
        "today": request.club.today(),
        "sheet_name": "Progress: planned, earned, actual",
    }
    if chosen is not None:
        chosen.club = request.club
        context |= _context(earned_value(chosen, on))
        context["sheet_programme"] = f"{chosen.name}, revision {chosen.revision}"
    return render(request, "hours/progress.html", context)
