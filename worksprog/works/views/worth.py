"""What the works give back: hours, days open and money, as promised."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.worth.charts import YearHours, setting_words, swings_chart, years_chart
from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works.forms import BenefitForm, LeftAsIsForm, WorthRulesForm
from worksprog.works.models import Benefit, Item, LeftAsIs, Programme, Project
from worksprog.works.queries import live_programme
from worksprog.works.queries.rules import rules_of
from worksprog.works.queries.worth import (
    ProgrammeWorth,
    YearBack,
    programme_worth,
    worth_rules_of,
)
from worksprog.works.services import worth as services
from worksprog.works.views.shared import form_page, keep, show, title_block

LESS_THAN_NOTHING = 0.5  # hours that a figure shows as 0


def _chosen(request: ClubRequest) -> Programme | None:
    with suppress(ValueError):
        asked = request.GET.get("programme", "")
        if asked:
            return get_row(Programme, request.club, UUID(asked))
    return live_programme(request.club)


def _year_bars(years: list[YearBack]) -> list[YearHours]:
    return [
        YearHours(one.year.name, one.hours.low, one.hours.likely, one.hours.high, one.standing)
        for one in years
    ]


def _charts(found: ProgrammeWorth, sign: str) -> dict[str, object]:
    charts: dict[str, object] = {"years": years_chart(_year_bars(found.years))}
    if found.whole is not None and found.whole.swings:
        charts["swings"] = swings_chart(
            found.whole.swings, likely=found.whole.likely.net_worth, sign=sign.strip()
        )
    return charts


@require_GET
@club_page("works.read")
def worth(request: ClubRequest) -> HttpResponse:
    """What a programme gives back, year by year and in money, with every assumption by name."""
    programme = _chosen(request)
    if programme is None:
        return show(
            request, "works/no_programme.html", {"others": [], "sheet_name": "What works give back"}
        )
    programme.club = request.club
    found = programme_worth(programme)
    kinds = [
        (key, label)
        for key, label in Benefit.What.choices
        if any(abs(one.by_what[key]) >= LESS_THAN_NOTHING for one in found.years)
    ]
    return show(
        request,
        "works/worth.html",
        {
            "programme": programme,
            "found": found,
            "whole": found.whole,
            "assumed": found.assumed,
            "kinds": [label for _, label in kinds],
            "years": [(one, [one.by_what[key] for key, _ in kinds]) for one in found.years],
            "swings": [
                (one, *(setting_words(at, one.unit) for at in (one.low, one.likely, one.high)))
                for one in (found.whole.swings if found.whole else ())
            ],
            "charts": _charts(found, request.club.currency_sign) if found.promises else {},
            "sheet_name": "What works give back",
            **title_block(programme),
        },
    )


CSV_HEADER = (
    "project",
    "job",
    "what",
    "hours a year, low",
    "hours a year, likely",
    "hours a year, high",
    "days open, low",
    "days open, likely",
    "days open, high",
    "other money a year",
    "begins",
    "how that is known",
    "years",
    "promised on",
    "how it was reckoned",
)


@require_GET
@club_page("works.read")
def worth_csv(request: ClubRequest) -> HttpResponse:
    """The promises of a programme, a row each, and the hours of every year after them."""
    programme = _chosen(request)
    if programme is None:
        return csv_answer("promises", CSV_HEADER, [])
    programme.club = request.club
    found = programme_worth(programme)
    rows: list[list[object]] = [
        [
            str(one.benefit.project),
            one.benefit.item.name if one.benefit.item else "",
            one.benefit.get_what_display(),
            one.benefit.hours_low,
            one.benefit.hours_likely,
            one.benefit.hours_high,
            one.benefit.days_low,
            one.benefit.days_likely,
            one.benefit.days_high,
            one.benefit.money_a_year,
            one.begins.isoformat() if one.begins else "",
            one.begins_from,
            one.benefit.years,
            one.benefit.promised_on.isoformat(),
            one.benefit.words,
        ]
        for one in found.promises
    ]
    for year in found.years:
        hours, days = year.hours, year.days
        figures = (hours.low, hours.likely, hours.high, days.low, days.likely, days.high)
        told = ["all", "", f"year {year.year.name}", *(round(value, 1) for value in figures)]
        rows.append([*told, *[""] * (len(CSV_HEADER) - len(told))])
    return csv_answer("what-works-give-back", CSV_HEADER, rows)


@require_GET
@club_page("works.read")
def project_worth(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The part of a project's page that says what it gives back."""
    project = get_row(Project.objects.select_related("programme"), request.club, uuid)
    project.programme.club = request.club
    found = programme_worth(project.programme, projects=Project.objects.filter(pk=project.pk))
    return show(
        request,
        "works/_project_worth.html",
        {
            "project": project,
            "own": found.projects[0] if found.projects else None,
            "assumed": found.assumed,
            "undated": found.undated,
        },
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def worth_rules(request: ClubRequest) -> HttpResponse:
    """What an hour and a day open are worth, the discount and the years counted."""
    rules, worth = rules_of(request.club), worth_rules_of(request.club)
    form = WorthRulesForm(
        request.POST or None,
        instance=worth,
        initial={
            "discount_percent": rules.discount_percent,
            "horizon_years": rules.horizon_years,
        },
    )

    def change() -> None:
        rules.discount_percent = form.cleaned_data["discount_percent"]
        rules.horizon_years = form.cleaned_data["horizon_years"]
        services.keep_worth_rules(rules=rules, worth=form.instance, by=request.user)

    if request.method == "POST" and keep(form, change):
        return redirect("works:worth", request.club.slug)
    return form_page(
        request,
        form=form,
        title="What the money rests on",
        button="Keep",
        back=reverse("works:worth", args=[request.club.slug]),
        lead="An hour saved is money only when it is worked elsewhere or not paid; say what share "
        "of the hours that is.",
        sheet_name="What works give back · assumptions",
        in_columns=True,
    )


def _items(project: Project) -> list[Item]:
    return list(Item.objects.filter(phase__project=project))


def _project_address(request: ClubRequest, project: Project) -> str:
    return reverse("works:project", args=[request.club.slug, project.uuid])


def _row_page(
    request: ClubRequest,
    form: BenefitForm | LeftAsIsForm,
    change: Callable[[], object],
    **shown: Any,
) -> HttpResponse:
    """A promise or what leaving it costs, on a sheet of its own; back to its project when kept."""
    address = _project_address(request, form.instance.project)
    if request.method == "POST" and keep(form, change):
        return redirect(address)
    context = {
        "form": form,
        "back": address,
        "sheet_name": f"What works give back · {shown['title']}",
        **shown,
    }
    return render(request, "works/promise.html", context, status=422 if form.errors else 200)


def _promise_page(request: ClubRequest, benefit: Benefit, **shown: Any) -> HttpResponse:
    form = BenefitForm(request.POST or None, instance=benefit, items=_items(benefit.project))
    return _row_page(
        request,
        form,
        lambda: services.keep_promise(benefit=form.instance, by=request.user),
        project=benefit.project,
        **shown,
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_promise(request: ClubRequest, uuid: UUID) -> HttpResponse:
    project = get_row(Project, request.club, uuid)
    made = Benefit(club=request.club, project=project, promised_on=request.club.today())
    return _promise_page(request, made, title="New promise", button="Keep the promise")


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_promise(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Benefit.objects.select_related("project"), request.club, uuid)
    return _promise_page(
        request,
        row,
        title="Change the promise",
        button="Keep the change",
        remove=reverse("works:drop-promise", args=[request.club.slug, uuid]),
    )


def _left_page(request: ClubRequest, left: LeftAsIs, **shown: Any) -> HttpResponse:
    form = LeftAsIsForm(request.POST or None, instance=left)
    return _row_page(
        request,
        form,
        lambda: services.keep_left_as_is(left=form.instance, by=request.user),
        left=left,
        **shown,
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_left_as_is(request: ClubRequest, uuid: UUID) -> HttpResponse:
    project = get_row(Project, request.club, uuid)
    made = LeftAsIs(club=request.club, project=project, stated_on=request.club.today())
    return _left_page(request, made, title="The cost of leaving it as it is", button="Keep it")


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def edit_left_as_is(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(LeftAsIs.objects.select_related("project"), request.club, uuid)
    return _left_page(
        request,
        row,
        title="Change the cost of leaving it",
        button="Keep the change",
        remove=reverse("works:drop-left-as-is", args=[request.club.slug, uuid]),
    )


def _dropped(
    request: ClubRequest, row: Benefit | LeftAsIs, drop: Callable[[], None], words: str
) -> HttpResponse:
    address = _project_address(request, row.project)
    drop()
    messages.success(request, words, "good")
    return redirect(address)


@require_POST
@club_page("works.plan")
def drop_promise(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Benefit.objects.select_related("project"), request.club, uuid)
    return _dropped(
        request,
        row,
        lambda: services.drop_promise(benefit=row, by=request.user),
        "The promise is taken back; what it said stays on the record.",
    )


@require_POST
@club_page("works.plan")
def drop_left_as_is(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(LeftAsIs.objects.select_related("project"), request.club, uuid)
    return _dropped(
        request,
        row,
        lambda: services.drop_left_as_is(left=row, by=request.user),
        "It is taken out; what it said stays on the record.",
    )
