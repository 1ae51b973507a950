"""Price files: read, shown against the book, and taken once."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works import price_file, services
from worksprog.works.forms import PriceFileForm
from worksprog.works.models import BookVersion, PriceDraft, PriceTrend
from worksprog.works.queries.prices import preview_of
from worksprog.works.views.prices import book_address
from worksprog.works.views.shared import form_page, show


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def import_prices(request: ClubRequest) -> HttpResponse:
    """Read a file; what it would do is shown on a page of its own, and nothing is taken yet."""
    form = PriceFileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data["file"]
        try:
            draft = services.read_price_draft(
                club=request.club,
                data=given.read(),
                file_name=given.name,
                dated=form.cleaned_data["dated"],
                by=request.user,
            )
        except ValidationError as error:
            form.add_error("file", error.messages)
        else:
            return redirect("works:price-file", request.club.slug, draft.uuid)
    return form_page(
        request,
        form=form,
        title="Bring in a price file",
        button="Read the file",
        back=book_address(request),
        lead="You see what it would add and change before anything is taken.",
        columns=price_file.COLUMNS,
        needed=price_file.NEEDED,
        trends=PriceTrend.objects.filter(club=request.club),
        most_rows=f"{price_file.LIMITS.rows:,}",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def price_draft(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """What a file would do to the book as it is now; the button takes it."""
    draft = get_row(PriceDraft.objects.select_related("read_by", "taken_as"), request.club, uuid)
    draft.club = request.club
    wrong, status = "", 200
    if request.method == "POST":
        try:
            taken = services.accept_price_draft(
                draft=draft,
                seen=request.POST.get("seen", ""),
                leave_out_refused=bool(request.POST.get("leave_out")),
                by=request.user,
            )
        except services.BookMoved as error:
            wrong, status = " ".join(error.messages), 409
        except ValidationError as error:
            wrong, status = " ".join(error.messages), 422
        else:
            words = (
                f"This file was taken already, as {taken.version}."
                if taken.was_taken_before
                else f"Taken as {taken.version}: {taken.words}."
            )
            messages.success(request, words, "good")
            return redirect(_changes_address(request, taken.version))
    return _draft_page(request, draft, wrong, status)


def _draft_page(request: ClubRequest, draft: PriceDraft, wrong: str, status: int) -> HttpResponse:
    context = {
        "draft": draft,
        "wrong": wrong,
        "latest": BookVersion.objects.filter(club=request.club)
        .select_related("made_by")
        .defer("entries")
        .first(),
        "sheet_name": "Estimates · price file",
    }
    if draft.taken_as is None:
        context["preview"] = preview_of(draft)
    else:
        context["changes_address"] = _changes_address(request, draft.taken_as)
    answer = show(request, "works/price_draft.html", context)
    answer.status_code = status
    return answer


def _changes_address(request: ClubRequest, version: BookVersion) -> str:
    """What a version changed; a first one has nothing before it."""
    if version.number == 1:
        return reverse("works:book-version", args=[request.club.slug, version.uuid])
    address = reverse("works:compare-books", args=[request.club.slug])
    return f"{address}?old={version.number - 1}&new={version.number}"


@require_POST
@club_page("works.plan")
def drop_draft(request: ClubRequest, uuid: UUID) -> HttpResponse:
    draft = get_row(PriceDraft.objects.select_related("taken_as"), request.club, uuid)
    try:
        services.drop_price_draft(draft=draft, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages), "warn")
        return redirect("works:price-file", request.club.slug, draft.uuid)
    messages.success(request, f"{draft.file_name} was put away; nothing was taken.", "good")
    return redirect(book_address(request))
