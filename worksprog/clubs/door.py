"""The one way from an address to a club's rows: signed in, a member, allowed."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar
from urllib.parse import urlsplit
from uuid import UUID

from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db import models
from django.http import Http404, HttpRequest, HttpResponseBase
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from worksprog.clubs.models import Club, Membership, User
from worksprog.clubs.permissions import MAY, may

P = ParamSpec("P")
RowT = TypeVar("RowT", bound=models.Model)


class ClubRequest(HttpRequest):
    """A request that has come through the door."""

    user: User
    club: Club
    membership: Membership

    def may(self, permission: str) -> bool:
        return may(self.membership.role, permission)


View = Callable[Concatenate[ClubRequest, P], HttpResponseBase]


READING = frozenset({"GET", "HEAD", "OPTIONS"})


def club_page(
    permission: str, *, change: str | None = None
) -> Callable[[View[P]], Callable[..., HttpResponseBase]]:
    """Open a view to members of the club in the address whose role has ``permission``.

    A view that shows to many and changes for few names the second permission as ``change``.

    Not signed in: to the sign-in page, and from there back to the page the button was on.
    Not a member: 404, so that nothing is learnt. Wrong role: 403.
    The view gets the request with ``club`` and ``membership`` on it. One query.
    """
    for name in (permission, change or permission):
        if name not in MAY:
            raise ValueError(f"{name!r} is not in the table of permissions")

    def wrap(view: View[P]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def inner(request: Any, club_slug: str, *args: Any, **kwargs: Any) -> HttpResponseBase:
            membership = (
                Membership.objects.select_related("club")
                .filter(club__slug=club_slug, user=request.user, is_active=True)
                .first()
            )
            if membership is None:
                raise Http404
            asked = permission if request.method in READING else change or permission
            if not may(membership.role, asked):
                raise PermissionDenied
            request.club = membership.club
            request.membership = membership
            request.may = lambda name: may(membership.role, name)
            return view(request, *args, **kwargs)

        signed_in = login_required(inner)

        @wraps(view)
        def guarded(request: Any, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if request.method not in READING and not request.user.is_authenticated:
                return redirect_to_login(_page_of_the_button(request))
            return signed_in(request, *args, **kwargs)

        guarded.permission = permission  # type: ignore[attr-defined]
        guarded.change = change or permission  # type: ignore[attr-defined]
        return guarded

    return wrap


def _page_of_the_button(request: HttpRequest) -> str:
    """Where the form was sent from: many addresses take a POST only, and cannot be opened."""
    page: str = request.META.get("HTTP_REFERER", "")
    here = {request.get_host()}
    if not url_has_allowed_host_and_scheme(page, here, require_https=request.is_secure()):
        return reverse("home")
    parts = urlsplit(page)
    return f"{parts.path}?{parts.query}" if parts.query else str(parts.path)


def get_row(rows: models.QuerySet[RowT] | type[RowT], club: Club, uuid: UUID) -> RowT:
    """The club's own row of that uuid; 404 for another club's as for one that never was."""
    queryset = rows if isinstance(rows, models.QuerySet) else rows._default_manager.all()
    row = queryset.filter(club=club, uuid=uuid).first()
    if row is None:
        raise Http404
    return row
