from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.grid import describe_grid, place_accuracy
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.clubs.forms import ClubForm, MemberChangeForm, MemberForm
from worksprog.clubs.models import Change, Club, Membership, Role, User
from worksprog.clubs.record_words import moves_of, words_of_kind
from worksprog.clubs.records import save_record
from worksprog.clubs.services import add_member, change_member, invite

FIRST_SHEET = {
    Role.MANAGER: "course:map",
    Role.COMMITTEE: "reports:list",
    Role.STAFF: "hours:home",
}


@require_GET
@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Straight to the one club's first sheet, or a choice of clubs."""
    assert isinstance(request.user, User)
    memberships = list(request.user.memberships.filter(is_active=True).select_related("club"))
    if len(memberships) == 1:
        return redirect(FIRST_SHEET[Role(memberships[0].role)], memberships[0].club.slug)
    choices = [
        {"membership": one, "url": reverse(FIRST_SHEET[Role(one.role)], args=[one.club.slug])}
        for one in memberships
    ]
    return render(request, "clubs/home.html", {"choices": choices, "sheet_name": "Your clubs"})


@require_GET
@club_page("club.read")
def club_home(request: ClubRequest) -> HttpResponse:
    return redirect(FIRST_SHEET[Role(request.membership.role)], request.club.slug)


def _club_sheet(
    request: ClubRequest, form: ClubForm, member_form: MemberForm, *, status: int = 200
) -> HttpResponse:
    people = request.club.memberships.select_related("user").order_by(
        "-is_active", "role", "user__last_name"
    )
    context = {
        "form": form,
        "member_form": member_form,
        "people": people,
        "grid": describe_grid(request.club.epsg),
        "grid_accuracy": place_accuracy(request.club.epsg),
        "sheet_name": "Club and people",
    }
    return render(request, "clubs/settings.html", context, status=status)


@require_http_methods(["GET", "POST"])
@club_page("club.settle")
def settings_page(request: ClubRequest) -> HttpResponse:
    club = Club.objects.get(pk=request.club.pk)
    form = ClubForm(request.POST or None, instance=club)
    if request.method == "POST" and form.is_valid():
        save_record(form.instance, by=request.user)
        messages.success(request, "The club's settings are kept.", extra_tags="good")
        return redirect("club-settings", request.club.slug)
    return _club_sheet(request, form, MemberForm())


@require_POST
@club_page("club.settle")
def add_member_page(request: ClubRequest) -> HttpResponse:
    form = MemberForm(request.POST)
    if form.is_valid():
        try:
            membership, is_new = add_member(club=request.club, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.add_error("email", error.messages)
        else:
            if is_new:
                invite(person=membership.user, request=request)
            words = "was sent a link to choose a password" if is_new else "may now sign in here"
            messages.success(request, f"{membership.user} {words}.", extra_tags="good")
            return redirect("club-settings", request.club.slug)
    return _club_sheet(request, ClubForm(instance=request.club), form, status=422)


@require_http_methods(["GET", "POST"])
@club_page("club.settle")
def member_page(request: ClubRequest, user_id: int) -> HttpResponse:
    membership = (
        Membership.objects.filter(club=request.club, user_id=user_id).select_related("user").first()
    )
    if membership is None:
        raise Http404
    form = MemberChangeForm(
        request.POST or None, initial={"role": membership.role, "is_active": membership.is_active}
    )
    if request.method == "POST" and form.is_valid():
        try:
            change_member(membership=membership, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            messages.success(request, f"{membership.user} is changed.", extra_tags="good")
            return redirect("club-settings", request.club.slug)
    return render(
        request,
        "clubs/member.html",
        {"form": form, "membership": membership, "sheet_name": f"Person · {membership.user}"},
    )


@require_GET
@club_page("changes.read")
def records(request: ClubRequest) -> HttpResponse:
    changes = Change.objects.filter(club=request.club).select_related("by")
    kind = request.GET.get("kind", "")
    if kind:
        changes = changes.filter(kind=kind)
    kinds = (
        Change.objects.filter(club=request.club)
        .order_by("kind")
        .values_list("kind", flat=True)
        .distinct()
    )
    page = Paginator(changes, 50).get_page(request.GET.get("page"))
    rows = [
        {"change": one, "what": words_of_kind(one.kind), "moves": moves_of(one)} for one in page
    ]
    return render(
        request,
        "clubs/records.html",
        {
            "page": page,
            "rows": rows,
            "kinds": [(one, words_of_kind(one)) for one in kinds],
            "kind": kind,
            "sheet_name": "Records · who changed what",
        },
    )
