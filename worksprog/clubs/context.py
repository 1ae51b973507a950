"""What every sheet shows: its links and its title block."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.apps import apps
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from worksprog.clubs.permissions import may

# Words, route and permission of each sheet; a route is a name so that no floor is imported from below.
SHEETS = (
    ("Map", "course:map", "course.read"),
    ("Drainage", "drainage:network", "drainage.read"),
    ("Programme", "planning:plan", "planning.read"),
    ("Estimates", "works:programme", "works.read"),
    ("Hours", "hours:week", "hours.approve"),
    ("Hours", "hours:home", "hours.log"),
    ("Progress", "hours:progress", "progress.read"),
    ("Reports", "reports:list", "reports.read"),
    ("Records", "records", "changes.read"),
    ("Club", "club-settings", "club.settle"),
)


def _programme(club: Any) -> str:
    model = apps.get_model("works", "Programme")
    live = model.objects.filter(club=club, is_live=True).first()
    return f"{live.name}, revision {live.revision}" if live else "none yet"


def _levels(club: Any) -> str:
    model = apps.get_model("course", "Survey")
    used = (
        model.objects.filter(club=club, ground_models__isnull=False)
        .order_by("-ground_models__made_at", "-surveyed_on")
        .only("surveyed_on")
        .first()
    )
    if used is None:
        return f"no ground yet, grid EPSG {club.epsg}"
    return f"Survey {used.surveyed_on:%b %Y}, grid EPSG {club.epsg}"


def sheet(request: HttpRequest) -> dict[str, Any]:
    club = getattr(request, "club", None)
    if club is None:
        return {}
    role = request.membership.role  # type: ignore[attr-defined]
    links: list[dict[str, Any]] = []
    path = request.path
    for words, route, permission in SHEETS:
        if not may(role, permission) or any(link["words"] == words for link in links):
            continue
        try:
            url = reverse(route, args=[club.slug])
        except NoReverseMatch:
            continue
        links.append({"words": words, "url": url, "here": False})
    # The longest address that the page's own begins with is the sheet one stands on.
    standing = [link for link in links if path.startswith(link["url"])] or [
        link for link in links if path.split("/")[3:4] == link["url"].split("/")[3:4]
    ]
    if standing:
        max(standing, key=lambda link: len(link["url"]))["here"] = True
    now = timezone.localtime(timezone=ZoneInfo(club.time_zone))
    return {
        "sheet_links": links,
        "sheet_programme": SimpleLazyObject(lambda: _programme(club)),
        "sheet_levels": SimpleLazyObject(lambda: _levels(club)),
        "sheet_figures_to": f"{now.day} {now:%b %Y, %H:%M}",
    }
