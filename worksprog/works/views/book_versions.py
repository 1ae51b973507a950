"""The versions of the price book: one looked at, two compared line by line."""

from __future__ import annotations

from uuid import UUID

from django.http import Http404, HttpResponse
from django.views.decorators.http import require_GET

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works.book_entries import OUTPUT, PRICE, TREND, compare
from worksprog.works.models import BookVersion, Category
from worksprog.works.queries.prices import versions_of
from worksprog.works.views.shared import show


@require_GET
@club_page("works.read")
def versions(request: ClubRequest) -> HttpResponse:
    return show(
        request,
        "works/book_versions.html",
        {
            "versions": list(versions_of(request.club)),
            "sheet_name": "Estimates · versions of the price book",
        },
    )


@require_GET
@club_page("works.read")
def version(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(BookVersion.objects.select_related("made_by"), request.club, uuid)
    entries = row.entries
    groups = [
        {
            "label": label,
            "rows": [
                one for one in entries if one["what"] == PRICE and one["category"] == category
            ],
        }
        for category, label in Category.choices
    ]
    return show(
        request,
        "works/book_version.html",
        {
            "version": row,
            "groups": [group for group in groups if group["rows"]],
            "rates": [one for one in entries if one["what"] == OUTPUT],
            "trends": [one for one in entries if one["what"] == TREND],
            "sheet_name": f"Estimates · price book {row.number}",
        },
    )


def _number(text: str | None, otherwise: int) -> int:
    return int(text) if text and text.isdecimal() and len(text) < 9 else otherwise


@require_GET
@club_page("works.read")
def compare_books(request: ClubRequest) -> HttpResponse:
    """Two versions, line by line; the last two where nothing is asked for."""
    listed = list(versions_of(request.club))
    if not listed:
        raise Http404
    last = listed[0].number
    new_number = _number(request.GET.get("new"), last)
    old_number = _number(request.GET.get("old"), max(new_number - 1, 1))
    found = {
        one.number: one
        for one in BookVersion.objects.filter(
            club=request.club, number__in=[old_number, new_number]
        ).select_related("made_by")
    }
    if {old_number, new_number} - found.keys():
        raise Http404
    old, new = found[old_number], found[new_number]
    return show(
        request,
        "works/compare_books.html",
        {
            "versions": listed,
            "old": old,
            "new": new,
            "comparison": compare(old.entries, new.entries),
            "sheet_name": f"Estimates · price books {old.number} and {new.number}",
        },
    )
