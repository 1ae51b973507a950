"""The page for levels on the bank, what it keeps on the phone, and where it sends to."""

from __future__ import annotations

import json
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_POST, require_safe

from worksprog.calc.as_built import (
    DEEPEST_BELOW_PEG_M,
    FOOT_M,
    USUAL_ACCURACY_M,
    USUAL_WALL_SHARE,
    WALL_DOUBT_SHARE,
    BuiltLevel,
)
from worksprog.calc.ground import Ground
from worksprog.calc.taken_again import SAME_PLACE_M
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.clubs.models import Club
from worksprog.clubs.phone import worker_script
from worksprog.course.models import DRAIN_LINES, State
from worksprog.course.queries import live_ground, local_fit, map_extent
from worksprog.drainage.bridge import short_name
from worksprog.drainage.bridge_as_built import bore_and_wall
from worksprog.drainage.intake import AT_ONCE, take_levels
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.queries.as_built import LevelLine, ReachAsBuilt, every_as_built
from worksprog.drainage.queries.level_remarks import ABOVE_GROUND_M, ground_along
from worksprog.drainage.services.as_built import (
    COARSE_PLACE_M,
    HIGHEST_M,
    LOWEST_M,
    MOST_OFF_DESIGN_M,
    NEAR_DRAIN_M,
)

SHELL = (
    *("css/fonts.css", "css/sheet.css", "css/hours.css", "css/measure.css", "js/measure.js"),
    "img/mark.svg",
)
# The drains that people stand at come first.
_FIRST = {State.ON_SITE: 0, State.PROPOSED: 1, State.AS_BUILT: 2, State.GROWING_IN: 2}


def _drain(one: ReachAsBuilt, ground: Ground | None) -> dict[str, Any]:
    assert one.design is not None
    bore, wall = bore_and_wall(one.facts, getattr(one.feature, "reach", None))
    return {
        "uuid": str(one.feature.uuid),
        "name": short_name(one.feature),
        "kind": one.feature.kind,
        "state": one.feature.state,
        "stateWords": one.feature.get_state_display(),
        "length": one.design.length_m,
        "line": [[round(x, 3), round(y, 3)] for x, y in one.design.line],
        "up": one.design.upstream_m,
        "down": one.design.downstream_m,
        "bore": bore,
        "wall": wall,
        "ground": ground_along(one, ground),
        "levels": sorted(
            (_level(line, line.built) for line in one.lines if line.counts and line.built),
            key=lambda level: level["chainage"],
        ),
    }


def _level(line: LevelLine, built: BuiltLevel) -> dict[str, Any]:
    row = line.row
    return {
        "uuid": str(row.uuid),
        "chainage": built.chainage_m,
        "level": built.level_m,
        "accuracy": built.accuracy_m,
        "good": row.level_accuracy_m,
        "of": row.of,
        "how": row.how,
        "taken": row.level_m,
        "peg": row.peg_level_m,
        "below": row.below_peg_m,
        "day": row.measured_on.isoformat(),
        "by": "" if row.kept_by is None else row.kept_by.initialled,
        "mine": row.kept_by_id,
        "file": row.file_name,
    }


def _drains(club: Club) -> list[dict[str, Any]]:
    found = [one for one in every_as_built(club) if one.feature.kind in DRAIN_LINES and one.design]
    found.sort(key=lambda one: (_FIRST.get(State(one.feature.state), 3), one.feature.ref))
    ground = live_ground(club)
    return [_drain(one, ground) for one in found]


@never_cache
@ensure_csrf_cookie
@require_safe
@club_page("drainage.measure")
def measure(request: ClubRequest) -> HttpResponse:
    club = request.club
    of, how = AsBuiltLevel.Of, AsBuiltLevel.How
    data = {
        "club": club.slug,
        "who": request.user.email,
        "me": request.user.pk,
        "name": request.user.initialled,
        "timeZone": club.time_zone,
        "drains": _drains(club),
        "at": timezone.now().timestamp(),
        "fit": local_fit(club, map_extent(club)),
        "of": [(of.INVERT, "invert"), (of.CROWN, "top of pipe"), (of.BED, "bed"),
               (of.COVER, "cover or ground")],
        "how": [(how.LEVEL, "level or laser"), (how.PEG, "depth below a peg"),
                (how.GNSS, "satellite receiver")],
        "usual": USUAL_ACCURACY_M,
        "wall": {"share": USUAL_WALL_SHARE, "doubt": WALL_DOUBT_SHARE},
        "limits": {
            "lowest": LOWEST_M, "highest": HIGHEST_M, "offDesign": MOST_OFF_DESIGN_M,
            "near": NEAR_DRAIN_M, "coarse": COARSE_PLACE_M, "peg": DEEPEST_BELOW_PEG_M,
            "foot": FOOT_M, "aboveGround": ABOVE_GROUND_M, "samePlace": SAME_PLACE_M,
        },
        "atOnce": AT_ONCE,
        "urls": {
            name: reverse(f"drainage:{route}", args=[club.slug])
            for name, route in (
                ("page", "measure"), ("intake", "measure-intake"), ("worker", "measure-worker")
            )
        },
    }  # fmt: skip
    links = [  # the hours page stays on the phone itself, so it opens without signal
        ("Hours", reverse("hours:home", args=[club.slug]), True),
        ("Where built differs", reverse("drainage:as-built-list", args=[club.slug]), False),
        ("Register of drains", reverse("drainage:register", args=[club.slug]), False),
        ("Map and sheets", reverse("course:map", args=[club.slug]), False),
    ]
    return render(request, "drainage/measure.html", {"data": data, "links": links})


@never_cache
@require_POST
@club_page("drainage.measure")
def intake(request: ClubRequest) -> JsonResponse:
    """Levels from a phone, each answered; 409 when the phone holds another person's."""
    try:
        sent = json.loads(request.POST.get("sent", ""))
        entries, who = sent["entries"], sent["who"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return JsonResponse({"error": "Expected JSON with who and entries."}, status=400)
    if not isinstance(entries, list) or len(entries) > AT_ONCE:
        return JsonResponse({"error": f"Expected a list of at most {AT_ONCE}."}, status=400)
    if who != request.user.email:
        return JsonResponse({"error": f"Signed in as {request.user.initialled}."}, status=409)
    photos = {
        name.removeprefix("photo-"): upload
        for name, upload in request.FILES.items()
        if name.startswith("photo-") and isinstance(upload, UploadedFile)
    }
    answers = take_levels(request.club, request.user, entries, photos)
    return JsonResponse(
        {"answers": answers, "drains": _drains(request.club), "at": timezone.now().timestamp()}
    )


@never_cache
@require_safe
@club_page("drainage.measure")
def worker(request: ClubRequest) -> HttpResponse:
    """The script that keeps the page on the phone, served from here so that it may only rule here."""
    return worker_script(reverse("drainage:measure", args=[request.club.slug]), SHELL)
