"""Every page of a club stays within its queries, however much the club has."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from shapely import affinity

from tests.clubs.test_every_address import ADDRESSES
from worksprog.calc import grid
from worksprog.clubs.models import Club, Membership, Role, User
from worksprog.course.models import Feature
from worksprog.demo.build import build_demo_club
from worksprog.demo.ground import EAST, NORTH
from worksprog.demo.people import SLUG
from worksprog.drainage.models import DrainReach
from worksprog.hours.models import HourEntry
from worksprog.planning.services import make_plan
from worksprog.works.models import Estimate, EstimateLine, Item, Programme

MOST_QUERIES = 15
# A plan is made from some fifteen kinds of rows; these pages read them all.
READ_A_PLANS_FACTS = {"planning/wishes/", "planning/try/"}
MOST_FOR_FACTS = 24


def lonlat(*points: tuple[float, float]) -> str:
    lon, lat = grid.to_lonlat(27700, [p[0] for p in points], [p[1] for p in points])
    return ";".join(f"{x:.8f},{y:.8f}" for x, y in zip(lon, lat, strict=True))


# What a page is asked, without which it refuses: places on the course.
ASKED = {
    "course/ground/level.json": "?at=" + lonlat((EAST + 400, NORTH + 300)),
    "course/ground/line.json": "?points=" + lonlat((EAST + 400, NORTH + 300), (EAST + 440, NORTH)),
}
# Long jobs, photographs and PDFs that are made on the word of a person.
NOT_IN_THE_DEMO = {
    "runs/<uuid:uuid>/",
    "runs/<uuid:uuid>/state/",
    "course/surveys/drafts/<uuid:uuid>/",
    "drainage/sheets/<uuid:uuid>.pdf",
    "drainage/as-built/level/<uuid:uuid>/photo/",
    "reports/<uuid:uuid>/report.pdf",
}


def _candidates(club: Club) -> list[str]:
    """One uuid of every kind of row that a club has, drains' features first."""
    reach = DrainReach.objects.filter(club=club).select_related("feature").first()
    assert reach
    found = [str(reach.feature.uuid)]
    features = Feature.objects.filter(club=club)
    for kind in sorted(set(features.values_list("kind", flat=True))):
        one = features.filter(kind=kind).order_by("pk").first()
        assert one
        found.append(str(one.uuid))
    for model in apps.get_models():
        names = {field.name for field in model._meta.concrete_fields}
        if {"uuid", "club"} <= names:
            row: Any = model._default_manager.filter(club=club).order_by("pk").first()
            if row is not None:
                found.append(str(row.uuid))
    return found


def _addresses(club: Club) -> Iterator[tuple[str, list[str]]]:
    person = Membership.objects.filter(club=club, role=Role.STAFF).first()
    assert person
    uuids = _candidates(club)
    for route, _, _ in ADDRESSES:
        address = "/" + route.replace("<slug:club_slug>", club.slug)
        address = address.replace("<int:user_id>", str(person.user_id))
        address = address.replace("<slug:kind>", "carrier_pipe")
        address = address.replace("<int:number>", "1") + ASKED.get(_tail(route), "")
        if "<uuid:" not in address:
            yield route, [address]
            continue
        filled = []
        for one in uuids:
            text = address
            while "<uuid:" in text:
                before, _, rest = text.partition("<uuid:")
                text = before + one + rest.partition(">")[2]
            filled.append(text)
        yield route, filled


def _tail(route: str) -> str:
    return route.removeprefix("c/<slug:club_slug>/")


def _count_all(
    client: Client, ways: Iterable[tuple[str, list[str]]]
) -> tuple[dict[str, int], list[tuple[str, list[str]]], set[str]]:
    """Queries by route, the address that answered for each, and the routes nothing answered."""
    counts: dict[str, int] = {}
    answering, silent = [], set()
    for route, filled in ways:
        for address in filled:
            connection.queries_log.clear()  # it holds 9,000, and all pages together have more
            with CaptureQueriesContext(connection) as queries:
                answer = client.get(address)
            assert answer.status_code < 500, address
            if answer.status_code == 405:
                break
            if answer.status_code in (200, 302):
                counts[_tail(route)] = sum(
                    not one["sql"].startswith(("SAVEPOINT", "RELEASE", "ROLLBACK"))
                    for one in queries.captured_queries
                )
                answering.append((route, [address]))
                break
        else:
            silent.add(_tail(route))
    return counts, answering, silent


def _most(route: str) -> int:
    return MOST_FOR_FACTS if route in READ_A_PLANS_FACTS else MOST_QUERIES


def _again(row: Any, **facts: Any) -> Any:
    """A second row like the first, under keys of its own."""
    row.pk, row.uuid = None, uuid.uuid4()
    for name, value in facts.items():
        setattr(row, name, value)
    return row


def _make_large(club: Club) -> None:
    programme = Programme.objects.get(club=club, is_live=True)
    for k in range(1, 4):
        copies = []
        for feature in Feature.objects.filter(club=club, version=1)[:150]:
            moved = affinity.translate(feature.geometry, 9.0 * k, 7.0 * k)
            copies.append(_again(feature, geometry=moved, version=2, ref=""))
        Feature.objects.bulk_create(copies)
    spare = list(Feature.objects.filter(club=club, version=2, kind="tee")[:40])
    for item in list(Item.objects.filter(club=club)):
        estimate = Estimate.objects.get(item=item, is_live=True)
        lines = list(EstimateLine.objects.filter(estimate=estimate))
        for k in range(2):
            twin = _again(item, name=f"{item.name} again {k}"[:120], state="proposed")
            twin.save()
            twin.features.set(spare[:2])
            copy = _again(estimate, item=twin)
            copy.save()
            EstimateLine.objects.bulk_create([_again(line, estimate=copy) for line in lines])
    entries = []
    for entry in HourEntry.objects.filter(club=club, item=None)[:600]:
        entries.append(
            _again(entry, client_id=uuid.uuid4(), worked_on=entry.worked_on + timedelta(days=1))
        )
    HourEntry.objects.bulk_create(entries)
    make_plan(programme=programme, by=None)


@pytest.mark.django_db
def test_queries_do_not_grow_with_the_club(client: Client) -> None:
    club = build_demo_club()
    manager = User.objects.get(email="manager@ashlodevale.example")
    client.force_login(manager, backend="django.contrib.auth.backends.ModelBackend")
    assert club.slug == SLUG

    small, ways, silent = _count_all(client, _addresses(club))
    assert silent == NOT_IN_THE_DEMO
    _make_large(club)
    large, _, gone = _count_all(client, ways)
    assert gone == set()

    assert {route: count for route, count in small.items() if count > _most(route)} == {}
    assert {route: count for route, count in large.items() if count > _most(route)} == {}
