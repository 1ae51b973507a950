"""What drains to each reach by the ground, beside what is entered; taken over on the word."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from worksprog.clubs.door import ClubRequest, club_page
from worksprog.drainage.drawing.catchments import draw_shares
from worksprog.drainage.queries.catchments import MUCH_APART, ReachShare, shares_by_ground
from worksprog.drainage.services.catchments import take_ground_catchments


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("drainage.read", change="drainage.design")
def catchments(request: ClubRequest) -> HttpResponse:
    if request.method == "POST":
        _take(request)
        return redirect("drainage:catchments", request.club.slug)
    context: dict[str, Any] = {
        "sheet_name": "Drainage · catchments by the ground",
        "may_design": request.may("drainage.design"),
    }
    try:
        shares = shares_by_ground(request.club)
    except ValueError as error:
        context["fault"] = str(error)
    else:
        slug = request.club.slug
        context |= {
            "shares": shares,
            "rows": [_row(slug, one, shares.cell_m) for one in shares.reaches],
            "entered_ha": sum(one.entered_ha for one in shares.reaches),
            "ground_ha": sum(one.area_ha or 0.0 for one in shares.reaches),
            "figure": draw_shares(
                shares, address_of=lambda one: reverse("drainage:reach", args=[slug, one.uuid])
            ),
        }
    return render(request, "drainage/catchments.html", context)


def _row(slug: str, share: ReachShare, cell_m: float) -> dict[str, Any]:
    area, entered = share.area_ha, share.entered_ha
    working = share.working(cell_m)
    return {
        "share": share,
        "address": reverse("drainage:reach", args=[slug, share.feature.uuid]),
        "apart": area is not None
        and abs(area - entered) > MUCH_APART * max(area, entered)
        and not share.taken,
        "ticked": share.may_be_whole and not share.taken,
        "working": working.as_rows() if working else None,
    }


def _take(request: ClubRequest) -> None:
    try:
        chosen = (
            None
            if "all" in request.POST
            else [UUID(text) for text in dict.fromkeys(request.POST.getlist("reach"))]
        )
        taken = take_ground_catchments(club=request.club, by=request.user, reaches=chosen)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    except ValueError:
        messages.error(request, "A drain that was ticked is not one of this club's; tick again.")
    else:
        many = f"{len(taken)} reach{'es' if len(taken) != 1 else ''}"
        messages.success(
            request,
            f"Taken over for {many}; the check goes by them now."
            if taken
            else "Those figures were on the record already.",
            extra_tags="good",
        )
