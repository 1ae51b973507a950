"""Walks every address of the program as everybody: nobody, each role, and another club's manager."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from tests.cast import Cast
from worksprog.clubs.models import Role
from worksprog.clubs.permissions import MAY

STAND_INS = {
    "uuid": str(uuid.UUID(int=0)),
    "int": "999999",
    "slug": "nothing",
    "str": "nothing",
    "path": "nothing",
    "date": "2027-01-04",
}
OPEN = {  # addresses that no club owns, and why they are open
    "sign-in",
    "sign-out",
    "password_reset",
    "password_reset_done",
    "password_reset_confirm",
    "password_reset_complete",
    "home",
    "health",
}


def _walk(patterns: Any, before: str = "") -> Iterator[tuple[str, URLPattern]]:
    for one in patterns:
        here = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from _walk(one.url_patterns, here)
        else:
            yield here, one


def _address(route: str, club: str) -> str:
    parts, out = route.replace("\\Z", "").split("<"), ""
    out = parts[0]
    for part in parts[1:]:
        inside, _, after = part.partition(">")
        converter, _, name = inside.rpartition(":")
        out += club if name == "club_slug" else STAND_INS.get(converter or "str", "2027-01-04")
        out += after
    return "/" + out


def _club_addresses() -> list[tuple[str, str, str]]:
    """Route, permission to read, permission to change."""
    found = []
    for route, pattern in _walk(get_resolver().url_patterns):
        if "<slug:club_slug>" in route:
            view = pattern.callback
            found.append((route, getattr(view, "permission", ""), getattr(view, "change", "")))
    return found


WRONG_METHOD = 405  # said before anything of the club is looked at
ADDRESSES = _club_addresses()


def test_every_club_address_goes_through_the_door() -> None:
    """A view without a permission of the table is a way round it."""
    assert len(ADDRESSES) > 5
    assert [route for route, read, change in ADDRESSES if not {read, change} <= MAY.keys()] == []


def test_other_addresses_are_known() -> None:
    others = {
        pattern.name
        for route, pattern in _walk(get_resolver().url_patterns)
        if "<slug:club_slug>" not in route
    }
    assert others <= OPEN


@pytest.mark.parametrize(("route", "read", "change"), ADDRESSES, ids=[a[0] for a in ADDRESSES])
def test_who_may_open(route: str, read: str, change: str, cast: Cast, client: Client) -> None:
    """Nobody goes to sign in; a stranger finds nothing; a role without the permission is refused."""
    address = _address(route, cast.club.slug)
    answers = [client.get(address), client.post(address)]
    answers = [answer for answer in answers if answer.status_code != WRONG_METHOD]
    assert answers
    for answer in answers:
        assert answer.status_code == 302
        assert "/sign-in/" in answer["Location"]

    client.force_login(cast.stranger, backend="django.contrib.auth.backends.ModelBackend")
    assert {client.get(address).status_code, client.post(address).status_code} <= {
        404,
        WRONG_METHOD,
    }
    people = {
        Role.MANAGER: cast.manager,
        Role.COMMITTEE: cast.committee,
        Role.STAFF: cast.staff,
    }
    for role, user in people.items():
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        for ask, permission in ((client.get, read), (client.post, change)):
            status = ask(address).status_code
            if status == WRONG_METHOD:
                continue
            assert (status == 403) == (role not in MAY[permission]), (role, permission, status)
            assert status < 500
