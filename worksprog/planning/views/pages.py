from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from itertools import groupby
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc import workdays
from worksprog.calc.charts import crew_year_chart
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import State
from worksprog.planning import bridge, chart, drains, proposing, queries, services
from worksprog.planning.forms import (
    BandForm,
    BaselineForm,
    ClosureForm,
    ItemPlanningForm,
    RulesForm,
    TryForm,
    UsualYearForm,
    WindowForm,
)
from worksprog.planning.forms.wishes import SolveForm
from worksprog.planning.models import (
    Closure,
    CrewMember,
    CrewWeek,
    PlannedItem,
    PlanRules,
    WorkWindow,
)
from worksprog.works.models import Item, ItemState, Programme
from worksprog.works.queries import live_programme
from worksprog.works.recipes import kinds_of

WRONG = 422


def _programme_words(programme: Programme) -> str:
    return f"{programme.name}, revision {programme.revision}"


def _club_windows(request: ClubRequest) -> dict[str, list[workdays.Window]]:
    windows: dict[str, list[workdays.Window]] = {}
    for row in WorkWindow.objects.filter(club=request.club):
        windows.setdefault(row.kind, []).append(bridge.window_of(row))
    return windows


@require_GET
@club_page("planning.read")
def plan_page(request: ClubRequest) -> HttpResponse:
    return _plan_page(request, BaselineForm())


def _plan_page(
    request: ClubRequest, baseline_form: BaselineForm, status: int = 200
) -> HttpResponse:
    programme = live_programme(request.club)
    context: dict[str, Any] = {
        "sheet_name": "Programme · chart of the winters",
        "programme": programme,
        "may_plan": request.may("planning.plan"),
        "may_read_works": request.may("works.read"),
    }
    plan = queries.live_plan(programme) if programme else None
    if programme is None or plan is None:
        if programme:
            context["sheet_programme"] = _programme_words(programme)
        return render(request, "planning/plan.html", context, status=status)
    programme.club = request.club
    plan.programme = programme
    sheet = queries.plan_sheet(plan)
    today = request.club.today()
    span = chart.days_shown(programme, sheet.rows)
    all_winters = chart.winters(*span)
    chosen = next((w for w in all_winters if w.key == request.GET.get("winter")), None)
    shown = sheet.rows
    if chosen:
        span = (chosen.first, chosen.last)
        shown = chart.within(sheet.rows, span)
    context |= {
        "sheet": sheet,
        "winters": all_winters,
        "chosen": chosen,
        "shown": shown,
        "charts": {
            "winters": chart.winters_spec(
                shown,
                span=span,
                today=today,
                windows=_club_windows(request),
                baseline=sheet.baseline_rows,
            )
            if shown
            else None,
            "hours": chart.hours_spec(plan, span=span, today=today) if plan.weeks else None,
        },
        "months": chart.hours_by_month(plan),
        "baseline_form": baseline_form,
        "solve_form": SolveForm(),
        "try_form": _try_form(row.item for row in sheet.rows),
        "sheet_programme": _programme_words(programme),
        "sheet_status": f"Plan of {plan.as_of.day} {plan.as_of:%b %Y}, working copy",
    }
    return render(request, "planning/plan.html", context, status=status)


def _try_form(items: Iterable[Item], data: Any = None) -> TryForm:
    """On the jobs whose crew hours are still to be worked."""
    jobs = [
        (str(item.uuid), item.name)
        for item in items
        if item.state in (ItemState.PROPOSED, ItemState.ON_SITE) and not item.by_contractor
    ]
    return TryForm(data, jobs=jobs)


@require_POST
@club_page("planning.plan")
def make_page(request: ClubRequest) -> HttpResponseRedirect:
    programme = live_programme(request.club)
    if programme is None:
        messages.error(request, "There is no live programme to plan yet.", extra_tags="warn")
        return redirect("planning:plan", request.club.slug)
    plan = services.make_plan(programme=programme, by=request.user)
    count = plan.items.filter(not_placed="").count()
    words = f"The plan is made: {count} {'job has' if count == 1 else 'jobs have'} dates."
    messages.success(request, words, extra_tags="good")
    return redirect("planning:plan", request.club.slug)


@require_POST
@club_page("planning.plan")
def baseline_page(request: ClubRequest) -> HttpResponse:
    programme = live_programme(request.club)
    plan = queries.live_plan(programme) if programme else None
    if plan is None:
        messages.error(request, "There is no plan to keep yet; make one first.", extra_tags="warn")
        return redirect("planning:plan", request.club.slug)
    form = BaselineForm(request.POST)
    if form.is_valid():
        try:
            services.keep_baseline(plan=plan, name=form.cleaned_data["name"], by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(
                request, f"Kept for ever as “{plan.baseline_name}”.", extra_tags="good"
            )
            return redirect("planning:plan", request.club.slug)
    return _plan_page(request, form, status=WRONG)


@require_GET
@club_page("planning.read")
def try_page(request: ClubRequest) -> HttpResponse:
    """What would move if one job took other hours. Nothing is written."""
    programme = queries.planned_programme(request.club)
    context: dict[str, Any] = {"sheet_name": "Programme · what would move", "programme": programme}
    status = 200
    if programme is not None:
        programme.club = request.club
        facts = bridge.read_facts(programme, request.club.today())
        items = [one.item for one in facts.items]
        form = _try_form(items, request.GET or None)
        context |= {"form": form, "sheet_programme": _programme_words(programme)}
        if form.is_bound and not form.is_valid():
            status = WRONG
        elif form.is_bound:
            item = next(one for one in items if str(one.uuid) == form.cleaned_data["item"])
            hours = form.cleaned_data["hours"]
            now, then = (
                [bridge.row_of(dated) for dated in proposing.propose(facts, changed).dated]
                for changed in ({}, {item.pk: hours})
            )
            context |= {
                "tried": item,
                "hours": hours,
                "moves": queries.moves_between(now, then),
            }
    template = "planning/_moves.html" if request.headers.get("X-Part") else "planning/try.html"
    return render(request, template, context, status=status)


@require_http_methods(["GET", "POST"])
@club_page("planning.read", change="planning.plan")
def item_page(request: ClubRequest, uuid: UUID) -> HttpResponse:
    item = get_row(
        Item.objects.select_related("phase__project__programme").prefetch_related("holes"),
        request.club,
        uuid,
    )
    may_plan = request.may("planning.plan")
    planning = services.planning_of(item)
    form = ItemPlanningForm(request.POST if request.method == "POST" else None, instance=planning)
    status = 200
    if request.method == "POST":
        if form.is_valid():
            services.keep_item_planning(planning=form.instance, by=request.user)
            messages.success(
                request, "Kept. Make the plan again to see the dates move.", extra_tags="good"
            )
            return redirect("planning:item", request.club.slug, item.uuid)
        status = WRONG
    programme = item.phase.project.programme
    planned = PlannedItem.objects.filter(plan__is_live=True, item=item).first()
    weeks = sorted(planned.hours_by_week.items()) if planned else []
    context = {
        "item": item,
        "planned": planned,
        "weeks": [(date.fromisoformat(monday), hours) for monday, hours in weeks],
        "windows": WorkWindow.objects.filter(club=request.club, kind=item.kind),
        "form": form,
        "may_plan": may_plan,
        "may_read_works": request.may("works.read"),
        "sheet_name": f"Programme · {item.name}",
        "sheet_programme": _programme_words(programme),
    }
    return render(request, "planning/item.html", context, status=status)


@require_GET
@club_page("course.read")
def feature_states_page(request: ClubRequest) -> HttpResponse:
    """For the date under the map: the state on a date of the features that are worked on."""
    asked = request.GET.get("on", "")
    try:
        on = date.fromisoformat(asked) if asked else request.club.today()
    except ValueError:
        return JsonResponse(
            {"error": f"“{asked}” is not a date; expected one like 2027-03-18."}, status=400
        )
    programme = live_programme(request.club)
    states = queries.feature_states_on(request.club, on)
    return JsonResponse(
        _drains_on(request, on, states)
        | {
            "on": on.isoformat(),
            "starts_on": programme.starts_on.isoformat() if programme else None,
            "ends_on": programme.ends_on.isoformat() if programme else None,
            "states": states,
        }
    )


def _drains_on(request: ClubRequest, on: date, states: dict[str, str]) -> dict[str, Any]:
    """How the drains that stand on the date come through the check; marks what is replaced."""
    if not request.may("drainage.read"):
        return {}
    check, gone = drains.drains_on(request.club, on)
    states.update(dict.fromkeys(gone, State.REMOVED.value))
    short = {reach.key: reach.shortfall_m3s for reach in check.reaches}
    return {
        "drains": {
            reach.key: {
                "state": reach.state,
                "words": reach.verdict.partition(":")[0],
                "short_l_s": round(short[reach.key] * 1000, 1),
            }
            for reach in check.reaches
        }
    }


@require_http_methods(["GET", "POST"])
@club_page("planning.read", change="planning.plan")
def windows_page(request: ClubRequest) -> HttpResponse:
    may_plan = request.may("planning.plan")
    form = WindowForm(
        request.POST if request.method == "POST" else None, instance=WorkWindow(club=request.club)
    )
    status = 200
    if request.method == "POST":
        if form.is_valid():
            services.keep_window(window=form.instance, by=request.user)
            messages.success(request, "The window is kept.", extra_tags="good")
            return redirect("planning:windows", request.club.slug)
        status = WRONG
    rows = list(WorkWindow.objects.filter(club=request.club))
    kinds = [
        {"label": label, "windows": [row for row in rows if row.kind == kind]}
        for kind, label in kinds_of(request.club)
    ]
    context = {
        "kinds": kinds,
        "any_windows": bool(rows),
        "missing": any(not kind["windows"] for kind in kinds),
        "form": form,
        "may_plan": may_plan,
        "sheet_name": "Programme · working windows",
    }
    return render(request, "planning/windows.html", context, status=status)


@require_http_methods(["GET", "POST"])
@club_page("planning.plan")
def window_page(request: ClubRequest, uuid: UUID) -> HttpResponse:
    window = get_row(WorkWindow, request.club, uuid)
    form = WindowForm(request.POST or None, instance=window)
    if request.method == "POST" and form.is_valid():
        services.keep_window(window=form.instance, by=request.user)
        messages.success(request, "The window is kept.", extra_tags="good")
        return redirect("planning:windows", request.club.slug)
    return render(
        request,
        "planning/window.html",
        {"form": form, "window": window, "sheet_name": f"Programme · window, {window}"},
        status=WRONG if form.errors else 200,
    )


@require_POST
@club_page("planning.plan")
def drop_window_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.drop_window(window=get_row(WorkWindow, request.club, uuid), by=request.user)
    messages.success(request, "The window is taken out; the records keep it.", extra_tags="good")
    return redirect("planning:windows", request.club.slug)


@require_POST
@club_page("planning.plan")
def usual_windows_page(request: ClubRequest) -> HttpResponseRedirect:
    rows = services.load_default_windows(club=request.club, by=request.user)
    words = (
        f"{len(rows)} usual windows are added; read them through and change what your ground asks."
        if rows
        else "Every kind of work has a window already; nothing was added."
    )
    messages.success(request, words, extra_tags="good")
    return redirect("planning:windows", request.club.slug)


@require_GET
@club_page("planning.read")
def crew_page(request: ClubRequest) -> HttpResponse:
    return _crew_page(request)


def _crew_page(request: ClubRequest, status: int = 200, **forms: Any) -> HttpResponse:
    weeks = list(CrewWeek.objects.filter(club=request.club))
    closures = Closure.objects.filter(club=request.club)
    rules = PlanRules.objects.filter(club=request.club).first() or PlanRules(club=request.club)
    context = {
        "bands": _bands(weeks, request.club.today().year),
        "charts": {
            "year": crew_year_chart([(row.week, row.crew_h, row.routine_h) for row in weeks])
        }
        if weeks
        else None,
        "left_h": sum(row.crew_h - row.routine_h for row in weeks if row.week <= 52),
        "closures": closures,
        "counts_people": CrewMember.objects.filter(club=request.club).exists(),
        "rules": rules,
        "band_form": BandForm(),
        "usual_form": UsualYearForm(),
        "closure_form": ClosureForm(),
        "rules_form": RulesForm(instance=rules),
        "may_plan": request.may("planning.plan"),
        "sheet_name": "Programme · crew hours",
    } | forms
    return render(request, "planning/crew.html", context, status=status)


def _bands(weeks: list[CrewWeek], year: int) -> list[dict[str, Any]]:
    """Weeks in a row that are alike, as one line."""
    bands = []
    numbered = enumerate(weeks)
    alike = groupby(
        numbered,
        key=lambda pair: (
            pair[1].week - pair[0], pair[1].crew_h, pair[1].routine_h, pair[1].note
        ),
    )  # fmt: skip
    for _, group in alike:
        rows = [row for _, row in group]
        bands.append(
            {
                "first": rows[0].week,
                "last": rows[-1].week,
                "from_day": date.fromisocalendar(year, min(rows[0].week, 52), 1),
                "crew_h": rows[0].crew_h,
                "routine_h": rows[0].routine_h,
                "left_h": rows[0].crew_h - rows[0].routine_h,
                "note": rows[0].note,
            }
        )
    return bands


@require_POST
@club_page("planning.plan")
def weeks_page(request: ClubRequest) -> HttpResponse:
    form = BandForm(request.POST)
    if not form.is_valid():
        return _crew_page(request, WRONG, band_form=form)
    data = form.cleaned_data
    weeks = [
        workdays.CrewWeek(week, data["crew_h"], data["routine_h"], data["note"])
        for week in range(data["from_week"], data["to_week"] + 1)
    ]
    services.set_crew_pattern(club=request.club, weeks=weeks, by=request.user)
    messages.success(request, "The weeks are kept.", extra_tags="good")
    return redirect("planning:crew", request.club.slug)


@require_POST
@club_page("planning.plan")
def usual_year_page(request: ClubRequest) -> HttpResponse:
    form = UsualYearForm(request.POST)
    if not form.is_valid():
        return _crew_page(request, WRONG, usual_form=form)
    services.load_usual_year(club=request.club, crew_h=form.cleaned_data["crew_h"], by=request.user)
    messages.success(
        request, "A usual year is filled in; change the weeks that differ.", extra_tags="good"
    )
    return redirect("planning:crew", request.club.slug)


@require_POST
@club_page("planning.plan")
def rules_page(request: ClubRequest) -> HttpResponse:
    rules = PlanRules.objects.filter(club=request.club).first() or PlanRules(club=request.club)
    form = RulesForm(request.POST, instance=rules)
    if not form.is_valid():
        return _crew_page(request, WRONG, rules_form=form)
    services.keep_plan_rules(rules=form.instance, by=request.user)
    messages.success(request, "Kept. Plans made from now on follow it.", extra_tags="good")
    return redirect("planning:crew", request.club.slug)


@require_POST
@club_page("planning.plan")
def closures_page(request: ClubRequest) -> HttpResponse:
    form = ClosureForm(request.POST, instance=Closure(club=request.club))
    if not form.is_valid():
        return _crew_page(request, WRONG, closure_form=form)
    services.keep_closure(closure=form.instance, by=request.user)
    messages.success(request, "The closed days are kept.", extra_tags="good")
    return redirect("planning:crew", request.club.slug)


@require_POST
@club_page("planning.plan")
def drop_closure_page(request: ClubRequest, uuid: UUID) -> HttpResponseRedirect:
    services.drop_closure(closure=get_row(Closure, request.club, uuid), by=request.user)
    messages.success(request, "The closed days are open again.", extra_tags="good")
    return redirect("planning:crew", request.club.slug)
