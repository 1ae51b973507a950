"""The club's money: currency, sales tax, financial year."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from worksprog.clubs.door import ClubRequest, club_page
from worksprog.clubs.models import Club
from worksprog.works.forms.money import MoneyForm
from worksprog.works.queries.money import tax_example
from worksprog.works.services.money import set_club_money
from worksprog.works.views.shared import keep, show


@require_http_methods(["GET", "POST"])
@club_page("works.read", change="club.settle")
def money(request: ClubRequest) -> HttpResponse:
    club = Club.objects.get(pk=request.club.pk)
    form = MoneyForm(request.POST or None, instance=club)
    if request.method == "POST" and keep(form, lambda: set_club_money(club=club, by=request.user)):
        messages.success(request, "The club's money settings are kept.", extra_tags="good")
        return redirect("works:money", request.club.slug)
    answer = show(
        request,
        "works/money.html",
        {
            "form": form,
            "may_settle": request.may("club.settle"),
            "example": tax_example(request.club),
            "sheet_name": "Club · money",
        },
    )
    answer.status_code = 422 if form.errors else 200
    return answer
