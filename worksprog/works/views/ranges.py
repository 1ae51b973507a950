"""Hours and money by chance: the page, the job that draws and keeps, what is assumed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.charts_ranges import DriverBar, chance_chart, drivers_chart
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works import queries
from worksprog.works.forms.ranges import AssumedForm
from worksprog.works.models import Programme, RangeRow
from worksprog.works.queries.ranges_sheet import RangesSheet, by_chance, ranges_sheet
from worksprog.works.services.ranges import request_ranges, set_assumed
from worksprog.works.views.shared import form_page, keep, show, title_block

MOST_BARS = 10
Level = RangeRow.Level


def _row(row: queries.RangeOf, chance: float) -> dict[str, Any]:
    return {
        "range": row,
        "money": [row.money.within(share) for share in (0.1, 0.5, 0.8, 0.9)],
        "hours": [row.hours.within(share) for share in (0.1, 0.5, 0.8, 0.9)],
        "contingency": row.contingency(chance),
        "extra_h": row.contingency_h(chance),
        "enough": row.money.chance_within(float(row.base_money)),
    }


def _ranked(told: dict[str, Any], what: str) -> dict[str, list[Any]]:
    """Sources and lines of one total, each as bars and as rows."""
    sources = [
        DriverBar(one["words"], one["share"], one["is_cause"])
        for one in told.get(f"{what}_sources", ())[:MOST_BARS]
    ]
    lines = [
        {**one, "bar": DriverBar(one["words"], one["share"], False)}
        for one in told.get(f"{what}_lines", ())[:MOST_BARS]
    ]
    return {"sources": sources, "lines": lines}


def _chosen(sheet: RangesSheet, wanted: str) -> queries.RangeOf:
    """The project asked for, else the whole; Http404 for one that is not there."""
    assert sheet.ranges is not None
    if not wanted:
        return sheet.ranges.whole
    found = sheet.ranges.of(Level.PROJECT, wanted)
    if found is None:
        raise Http404
    return found


def _shown(request: ClubRequest, sheet: RangesSheet) -> dict[str, Any]:
    ranges = sheet.ranges
    if ranges is None:
        return {}
    chance = sheet.chance
    chosen = _chosen(sheet, request.GET.get("of", ""))
    told = dict(chosen.drivers)
    money, hours = _ranked(told, "money"), _ranked(told, "hours")
    sign = request.club.currency_sign
    charts = {
        "money": chance_chart(
            chosen.money, base=float(chosen.base_money), unit="", sign=sign, title="Money by chance"
        ),
        "hours": chance_chart(chosen.hours, base=chosen.base_h, unit="h", title="Hours by chance"),
        "money-sources": drivers_chart(money["sources"], title="What drives the money"),
        "money-lines": drivers_chart([one["bar"] for one in money["lines"]], title="Lines, money"),
        "hours-sources": drivers_chart(hours["sources"], title="What drives the hours"),
        "hours-lines": drivers_chart([one["bar"] for one in hours["lines"]], title="Lines, hours"),
    }
    drawn = {
        "money": chosen.money.sd > 0,
        "hours": chosen.hours.sd > 0,
        "money-sources": bool(money["sources"]),
        "money-lines": bool(money["lines"]),
        "hours-sources": bool(hours["sources"]),
        "hours-lines": bool(hours["lines"]),
    }
    return {
        "whole": _row(ranges.whole, chance),
        "chosen": _row(chosen, chance),
        "is_part": chosen is not ranges.whole,
        "project_rows": [_row(row, chance) for row in ranges.at(Level.PROJECT)],
        "projects": [
            {
                "row": _row(row, chance),
                "phases": [_row(one, chance) for one in sheet.phases_of(row.key)],
                "items": [_row(one, chance) for one in sheet.items_of(row.key)],
            }
            for row in ranges.at(Level.PROJECT)
        ],
        "years": [_row(row, chance) for row in ranges.at(Level.YEAR)],
        "by_chance": by_chance(chosen, chance),
        "ranked": {"money": money, "hours": hours, "draws": told.get("draws")},
        "charts": {name: spec for name, spec in charts.items() if drawn[name]},
        "drawn": [name for name, is_drawn in drawn.items() if is_drawn],
        "working": sheet.working(chosen),
    }


def _ranges_page(request: ClubRequest, programme: Programme | None) -> HttpResponse:
    if programme is None:
        others = list(Programme.objects.filter(club=request.club))
        context = {"others": others, "sheet_name": "Estimates · ranges"}
        return show(request, "works/no_programme.html", context)
    programme.club = request.club
    sheet = ranges_sheet(programme)
    return show(
        request,
        "works/ranges.html",
        {
            "programme": programme,
            "sheet": sheet,
            "ranges": sheet.ranges,
            "assumed": _assumed(sheet),
            "sheet_name": "Estimates · ranges",
            **_shown(request, sheet),
            **title_block(programme),
        },
    )


def _assumed(sheet: RangesSheet) -> list[dict[str, Any]]:
    sways = sheet.sways
    return [
        {
            "what": "every figure with every other",
            "share": sways.programme,
            "why": "one estimator, one market, one club; 0.2 to 0.3 is a common choice where "
            "nothing is known (from memory)",
        },
        {
            "what": "outputs with the weather of their winter",
            "share": sways.weather,
            "why": "a wet winter slows every job in it; winters do not know of each other",
        },
        {
            "what": "outputs and quantities with the ground of their project",
            "share": sways.ground,
            "why": "more to dig and slower digging come from the same ground",
        },
        {
            "what": "outputs with the crew's hands",
            "share": sways.hands,
            "why": "the same people do it; a contractor's hands are left out",
        },
        {
            "what": "prices with their supplier",
            "share": sways.supplier,
            "why": "one supplier's prices rise together; the price book names them",
        },
    ]


@require_GET
@club_page("works.read")
def ranges(request: ClubRequest) -> HttpResponse:
    """The live programme by chance."""
    return _ranges_page(request, queries.live_programme(request.club))


@require_GET
@club_page("works.read")
def ranges_of(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _ranges_page(request, get_row(Programme, request.club, uuid))


@require_POST
@club_page("works.plan")
def draw_ranges(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Draw the programme as a job and keep what is found."""
    run = request_ranges(programme=get_row(Programme, request.club, uuid), by=request.user)
    return redirect("runs:run", request.club.slug, run.uuid)


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def assumed(request: ClubRequest) -> HttpResponse:
    """How much figures sway together, by which curve, with how many draws."""
    form = AssumedForm(request.POST or None, instance=queries.rules_of(request.club))
    if request.method == "POST" and keep(
        form, lambda: set_assumed(rules=form.instance, by=request.user)
    ):
        return redirect("works:ranges", request.club.slug)
    return form_page(
        request,
        form=form,
        title="What the ranges assume",
        button="Keep it",
        back=reverse("works:ranges", args=[request.club.slug]),
        lead="How much of a figure's sway comes from a cause that it shares with others: two "
        "figures that share it are correlated by that much.",
    )
