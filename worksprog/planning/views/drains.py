"""The drains week by week, by the live plan."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from worksprog.calc.network.through_time import Spell
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.planning import drains
from worksprog.planning.drains import DrainWeeks
from worksprog.planning.drawing_drains import draw_weeks
from worksprog.planning.queries import live_plan
from worksprog.works.queries import live_programme

HEADS = {
    "passing": "Only for a time, by the order of the works",
    "for_good": "From a day on, and not put right by the plan",
    "until_put_right": "Today, until the plan puts it right",
    "all_along": "Today, and still so in the end",
}
SHOWN, NOTICED = 100, 5


def _row(request: ClubRequest, spell: Spell, weeks: DrainWeeks) -> dict[str, Any]:
    names = weeks.through.names
    return {
        "spell": spell,
        "address": reverse("drainage:reach", args=[request.club.slug, spell.key]),
        "short": drains.short_words(spell),
        "weeks": drains.week_words(spell.starts_on, spell.until),
        "brought_by": [names[key] for key in spell.brought_by],
        "brought_job": weeks.job_of(spell.brought_by),
        "ending": drains.ending_words(spell, weeks.through),
        "ending_job": weeks.job_of(spell.ended_by),
        "order": drains.order_words(spell, weeks),
        "own_job": weeks.job_of([spell.key]),
        "worst_l_s": spell.worst_m3s * 1000,
        "first_l_s": spell.first_m3s * 1000,
    }


def group_of(spell: Spell) -> str:
    return "passing" if spell.is_passing else spell.lasts.replace("for_a_time", "passing")


@require_GET
@club_page("planning.read")
def drain_weeks_page(request: ClubRequest) -> HttpResponse:
    programme = live_programme(request.club)
    weeks = drains.drain_weeks(request.club)
    through = weeks.through
    states = [
        {
            "state": state,
            "changed": drains.change_words(state, through.names) if number else "as it is today",
            "carries": state.check.count("carries"),
            "too_small": state.check.count("too_small"),
            "fault": state.check.count("fault"),
            "worst": state.check.reach(state.worst) if state.worst else None,
            "worst_l_s": state.check.reach(state.worst).shortfall_m3s * 1000 if state.worst else 0,
        }
        for number, state in enumerate(through.states)
    ]
    groups = [
        {
            "head": head,
            "key": key,
            "rows": [
                _row(request, spell, weeks) for spell in through.spells if group_of(spell) == key
            ][:SHOWN],
        }
        for key, head in HEADS.items()
    ]
    return render(
        request,
        "planning/drain_weeks.html",
        {
            "sheet_name": "Drainage · week by week",
            "states": states[:SHOWN],
            "groups": [group for group in groups if group["rows"]],
            "passing": len(through.passing),
            "figure": draw_weeks(through),
            "reaches": len(through.names),
            "undated": weeks.undated,
            "has_plan": programme is not None and live_plan(programme) is not None,
            "storm": through.states[0].check.storm,
        },
    )


@require_GET
@club_page("planning.read")
def drain_notice(request: ClubRequest) -> HttpResponse:
    """For the plan's page: what the order of the works overloads only for a time."""
    weeks = drains.drain_weeks(request.club)
    rows = [
        {
            "words": drains.spell_words(spell, weeks.through),
            "order": drains.order_words(spell, weeks),
        }
        for spell in weeks.through.passing
    ]
    return render(
        request, "planning/_drain_notice.html", {"rows": rows[:NOTICED], "count": len(rows)}
    )


@require_GET
@club_page("drainage.read")
def drain_spells_page(request: ClubRequest) -> JsonResponse:
    """For the date under the map: when each drain is overloaded only for a time, in words."""
    weeks = drains.drain_weeks(request.club)
    return JsonResponse(
        {
            "spells": [
                {
                    "key": spell.key,
                    "from": spell.starts_on.isoformat(),
                    "until": spell.until.isoformat() if spell.until else None,
                    "words": drains.spell_words(spell, weeks.through),
                    "passing": spell.is_passing,
                }
                for spell in weeks.through.spells
            ],
            "page": reverse("planning:drain-weeks", args=[request.club.slug])
            if request.may("planning.read")
            else "",
        }
    )
