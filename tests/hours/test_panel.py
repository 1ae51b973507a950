"""The hours' part of the map's side panel."""

from __future__ import annotations

import pytest
import shapely
from django.test import Client

from tests.hours.conftest import Site
from worksprog.clubs.records import save_record, set_links
from worksprog.course.models import Feature
from worksprog.course.services import create_feature
from worksprog.hours.models import HourEntry

pytestmark = pytest.mark.django_db


@pytest.fixture
def pipe(site: Site) -> Feature:
    made = create_feature(
        club=site.cast.club,
        kind="pipe",
        geometry=shapely.LineString([(451000, 287000), (451180, 287000)]),
        by=site.cast.manager,
    )
    set_links(site.carrier, "features", [made], by=site.cast.manager)
    return made


def address(feature: Feature) -> str:
    return f"/c/first/hours/features/{feature.uuid}/panel/"


def test_hours_used_of_the_estimate_and_at_this_pace(
    site: Site, pipe: Feature, as_committee: Client
) -> None:
    """31 h for 120 of 180 m make 46.5 h at that pace, of 540 estimated."""
    for hours, metres in ((12, 50), (12, 50), (7, 20)):
        entry = HourEntry(
            club=site.cast.club,
            person=site.cast.membership(site.cast.staff),
            item=site.carrier,
            worked_on=site.cast.club.today(),
            hours=hours,
            quantity=metres,
        )
        save_record(entry, by=site.cast.staff)
    answer = as_committee.get(address(pipe))
    assert answer.context["used"] == pytest.approx(31)
    assert answer.context["budget"] == pytest.approx(540)
    assert answer.context["forecast"] == pytest.approx(31 / (120 / 180))
    page = answer.content.decode()
    assert "31 h" in page and "of 540 h estimated" in page
    assert "120.0 of 180.0 m measured" in page


def test_a_feature_without_works_has_no_part(site: Site, as_manager: Client) -> None:
    bare = create_feature(
        club=site.cast.club,
        kind="chamber",
        geometry=shapely.Point(451000, 287000),
        by=site.cast.manager,
    )
    answer = as_manager.get(address(bare))
    assert (answer.status_code, answer.content) == (200, b"")
