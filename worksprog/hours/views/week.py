"""The manager's week: approve, ask, put right, take it away as a file."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from worksprog.clubs.csv_files import guarded
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.models import Club
from worksprog.hours.forms import CorrectForm, QueryForm
from worksprog.hours.models import HourEntry
from worksprog.hours.queries import leaf_hours, quantity_words, routine_hours, week_of
from worksprog.hours.services import approve_hours, correct_approved, query_hours

WEEK = timedelta(days=7)


def _monday(request: ClubRequest, told: str | None) -> date:
    """The Monday of the week asked for; this week's where none, or nonsense, is."""
    today = request.club.today()
    try:
        day = date.fromisoformat(told or "")
    except ValueError:
        day = today
    # A year outside these would leave the calendar a week further on.
    if not 2000 <= day.year <= 2200:
        day = today
    return day - timedelta(days=day.weekday())


def _address(club: Club, monday: date) -> str:
    return f"{reverse('hours:week', args=[club.slug])}?week={monday.isoformat()}"


@require_safe
@club_page("hours.approve")
def week(request: ClubRequest) -> HttpResponse:
    monday = _monday(request, request.GET.get("week"))
    sheet = week_of(request.club, monday)
    sunday = monday + timedelta(days=6)
    routine = routine_hours(request.club, monday, sunday)
    labels = dict(HourEntry._meta.get_field("routine").flatchoices)
    context = {
        "week": sheet,
        "before": _address(request.club, monday - WEEK),
        "after": _address(request.club, monday + WEEK),
        "is_now": monday <= request.club.today() <= sunday,
        "rows": list(zip(sheet.days, sheet.by_day, strict=True)),
        "routine": sorted(
            ((labels.get(kind, kind), hours) for kind, hours in routine.items()),
            key=lambda pair: -pair[1],
        ),
        "leaves": sum(leaf_hours(request.club, monday, sunday).values()),
        "sheet_name": f"Hours of the week from {monday.day} {monday:%b %Y}",
    }
    return render(request, "hours/week.html", context)


@require_POST
@club_page("hours.approve")
def approve(request: ClubRequest) -> HttpResponse:
    """The entries named; when none is, all of a week that wait and are not pointed out."""
    monday = _monday(request, request.POST.get("week"))
    named = request.POST.getlist("entry")
    left = 0
    if named:
        try:
            numbers = [UUID(one) for one in named]
        except ValueError:
            numbers = []
        entries = list(HourEntry.objects.filter(club=request.club, uuid__in=numbers))
    else:
        sheet = week_of(request.club, monday)
        entries, left = sheet.plain, sheet.left
    count = approve_hours(club=request.club, entries=entries, by=request.user)
    if count:
        rest = f" {left} to look at left: approve one by one." if left else ""
        messages.success(request, f"{count} {'entry' if count == 1 else 'entries'} approved.{rest}")
    elif left:
        messages.warning(request, f"Nothing approved: all {left} are to be looked at one by one.")
    else:
        messages.warning(request, "Nothing was left to approve; somebody may have done it before.")
    return redirect(_address(request.club, monday))


@require_POST
@club_page("hours.approve")
def query(request: ClubRequest, uuid: UUID) -> HttpResponse:
    entry = get_row(HourEntry, request.club, uuid)
    form = QueryForm(request.POST)
    try:
        if not form.is_valid():
            raise ValidationError("Say in a few words what is in question, 200 letters at most.")
        query_hours(entry=entry, by=request.user, reason=form.cleaned_data["reason"])
        messages.success(
            request, "Asked. It does not count until it is put right, or you approve it."
        )
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
    return redirect(_address(request.club, entry.worked_on))


@require_http_methods(["GET", "POST"])
@club_page("hours.approve")
def correct(request: ClubRequest, uuid: UUID) -> HttpResponse:
    rows = HourEntry.objects.select_related("item", "person__user")
    entry = get_row(rows, request.club, uuid)
    start = {"hours": entry.hours, "quantity": entry.quantity}
    form = CorrectForm(request.POST or None, initial=start)
    if entry.item_id is None:
        del form.fields["quantity"]
    if request.method == "POST" and form.is_valid():
        try:
            correct_approved(
                entry=entry,
                by=request.membership,
                hours=form.cleaned_data["hours"],
                quantity=form.cleaned_data.get("quantity"),
                reason=form.cleaned_data["reason"],
            )
        except ValidationError as error:
            for words in error.messages:
                form.add_error(None, words)
        else:
            messages.success(request, "Put right by a new row; the old one is kept beside it.")
            return redirect(_address(request.club, entry.worked_on))
    context = {
        "form": form,
        "entry": entry,
        "done": quantity_words(entry),
        "back": _address(request.club, entry.worked_on),
        "sheet_name": "Put approved hours right",
    }
    return render(request, "hours/correct.html", context)


@require_safe
@club_page("hours.approve")
def as_csv(request: ClubRequest) -> HttpResponse:
    """RFC 4180, with a mark by which a spreadsheet sees that it is UTF-8."""
    monday = _monday(request, request.GET.get("week"))
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="hours-{monday.isoformat()}.csv"'
    answer.write("\ufeff")
    table = csv.writer(answer)
    table.writerow(
        [
            "day",
            "person",
            "job",
            "routine",
            "hours",
            "quantity",
            "ground",
            "state",
            "note",
            "reason",
        ]
    )
    for entry in week_of(request.club, monday).entries:
        if not entry.counts:
            continue
        table.writerow(
            [
                entry.worked_on.isoformat(),
                guarded(entry.person.user),
                guarded(entry.item or ""),
                entry.get_routine_display() if entry.routine else "",
                entry.hours,
                "" if entry.quantity is None else f"{entry.quantity:g}",
                entry.get_ground_display() if entry.ground else "",
                entry.get_state_display(),
                guarded(entry.note),
                guarded(entry.reason),
            ]
        )
    return answer
