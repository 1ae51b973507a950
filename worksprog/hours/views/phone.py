"""The crew's page, what it keeps on the phone, and where it sends to."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from worksprog.clubs.door import ClubRequest, club_page
from worksprog.clubs.phone import worker_script
from worksprog.clubs.templatetags.figures import fig
from worksprog.hours.intake import AT_ONCE, take_in
from worksprog.hours.models import Ground, HourEntry, RoutineKind
from worksprog.hours.queries.phone import PhoneJob, done_by_job, phone_jobs, recent_entries
from worksprog.hours.words import DONE_TODAY, step_of, unit_words
from worksprog.works.cautions import CAUTIONS, DEFERS

# Everything the page needs to stand up without a signal.
SHELL = ("css/fonts.css", "css/sheet.css", "css/hours.css", "js/hours-phone.js", "img/mark.svg")


def _where(job: PhoneJob) -> str:
    holes = sorted({hole.number for hole in job.item.holes.all()})
    parts = []
    if holes:
        word = "hole" if len(holes) == 1 else "holes"
        parts.append(f"{word} {', '.join(str(number) for number in holes)}")
    if job.mates:
        parts.append(f"with {', '.join(job.mates)}")
    return " · ".join(parts)


def _places(value: float) -> int:
    return 0 if abs(value - round(value)) < 0.05 else 1


def _open_consents(job: PhoneJob, today: date) -> dict[str, dict[str, str]]:
    """The job's consents that are not in force, as cautions of its own, by key."""
    return {
        f"consent-{consent.uuid}": {
            "title": f"{consent.name}, not in force",
            "text": f"{words}. Do not begin or go on before the course manager has said so.",
            "ask": consent.authority or "the authority",
        }
        for consent in job.item.consents.all()
        if (words := consent.missing_on(today))
    }


def _job(job: PhoneJob, today: date) -> dict[str, Any]:
    progress, unit = "", unit_words(job.item.kind, job.unit)
    if job.planned:
        done, planned = (fig(value, _places(value)) for value in (job.done, job.planned))
        progress = " ".join(f"{done} of {planned} {unit} done".split())
    return {
        "uuid": str(job.item.uuid),
        "name": job.item.name,
        "today": job.is_today,
        "state": job.item.state,
        "stateWords": job.item.get_state_display(),
        "where": _where(job),
        "progress": progress,
        "unit": unit,
        "planned": job.planned,
        "step": step_of(job.unit),
        "doneWords": DONE_TODAY.get(job.item.kind, "Done"),
        "last": job.last_quantity,
        "cautions": [
            *_open_consents(job, today),
            *(one.key for one in CAUTIONS.get(job.item.kind, ())),
        ],
    }


def _entry(entry: HourEntry) -> dict[str, Any]:
    return {
        "entry": str(entry.client_id),
        "what": entry.what,
        "item": str(entry.item.uuid) if entry.item else "",
        "routine": entry.routine,
        "worked_on": entry.worked_on.isoformat(),
        "hours": float(entry.hours),
        "quantity": entry.quantity,
        "ground": entry.ground,
        "note": entry.note,
        "state": entry.state,
        "stateWords": entry.get_state_display(),
        "reason": entry.reason,
        "mayChange": entry.may_be_changed,
        "counts": entry.counts,
    }


def _recent(request: ClubRequest) -> dict[str, Any]:
    rows: Iterable[HourEntry] = recent_entries(request.membership, request.club.today())
    return {
        "entries": [_entry(row) for row in rows],
        "done": done_by_job(request.club),
        "at": timezone.now().timestamp(),
    }


def _sheets(request: ClubRequest) -> list[tuple[str, str]]:
    """The few that belong to hours; from the map on, the masthead shows every other sheet."""
    links = [("Map and sheets", reverse("course:map", args=[request.club.slug]))]
    if request.may("drainage.measure"):
        links.append(("Levels on the bank", reverse("drainage:measure", args=[request.club.slug])))
    if request.may("hours.approve"):
        links.append(("Approve the week", reverse("hours:week", args=[request.club.slug])))
    if request.may("progress.read"):
        links.append(("Progress", reverse("hours:progress", args=[request.club.slug])))
    return links


@never_cache
@require_safe
@club_page("hours.log")
def phone(request: ClubRequest) -> HttpResponse:
    club = request.club
    today = club.today()
    jobs = phone_jobs(club, request.membership, today)
    cautions = {one.key: one for listed in CAUTIONS.values() for one in listed}
    used = {one.key for job in jobs for one in CAUTIONS.get(job.item.kind, ())}
    page = reverse("hours:home", args=[club.slug])
    data = {
        "who": request.user.email,
        "name": request.user.initialled,
        "club": club.slug,
        "timeZone": club.time_zone,
        "workingDay": float(club.working_day_h),
        "jobs": [_job(job, today) for job in jobs],
        "routine": [{"key": key, "words": str(words)} for key, words in RoutineKind.choices],
        "ground": [{"key": key, "words": str(words)} for key, words in Ground.choices],
        "recent": _recent(request),
        "cautions": {
            key: {
                "title": cautions[key].title,
                "text": cautions[key].text,
                "ask": cautions[key].ask,
            }
            for key in sorted(used)
        }
        | {key: told for job in jobs for key, told in _open_consents(job, today).items()},
        "defers": DEFERS,
        "atOnce": AT_ONCE,
        "urls": {
            "page": page,
            "intake": reverse("hours:intake", args=[club.slug]),
            "worker": reverse("hours:worker", args=[club.slug]),
        },
    }
    return render(request, "hours/phone.html", {"data": data, "links": _sheets(request)})


@never_cache
@require_POST
@club_page("hours.log")
def intake(request: ClubRequest) -> JsonResponse:
    """Entries from a phone, each answered; 409 when the phone holds another person's entries."""
    try:
        sent = json.loads(request.body)
        entries, who = sent["entries"], sent["who"]
    except (ValueError, KeyError, TypeError):
        return JsonResponse({"error": "Expected JSON with who and entries."}, status=400)
    if not isinstance(entries, list) or len(entries) > AT_ONCE:
        return JsonResponse({"error": f"Expected a list of at most {AT_ONCE}."}, status=400)
    if who != request.user.email:
        return JsonResponse({"error": f"Signed in as {request.user.initialled}."}, status=409)
    answers = take_in(request.membership, entries)
    return JsonResponse({"answers": answers, "recent": _recent(request)})


@never_cache
@require_safe
@club_page("hours.log")
def worker(request: ClubRequest) -> HttpResponse:
    """The script that keeps the page on the phone, served from here so that it may only rule here."""
    return worker_script(reverse("hours:home", args=[request.club.slug]), SHELL)


@require_safe
@club_page("hours.log")
def manifest(request: ClubRequest) -> JsonResponse:
    page = reverse("hours:home", args=[request.club.slug])
    answer = JsonResponse(
        {
            "name": f"Hours, {request.club.name}",
            "short_name": "Hours",
            "start_url": page,
            "id": page,
            "scope": page,
            "display": "standalone",
            "background_color": "#ece7da",
            "theme_color": "#ece7da",
            "lang": "en-GB",
            "icons": [{"src": static("img/mark.svg"), "sizes": "any", "type": "image/svg+xml"}],
        }
    )
    answer["Content-Type"] = "application/manifest+json"
    return answer
