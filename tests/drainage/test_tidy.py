"""Tidy rules on the club's drains: the list, the limits, buried services."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from shapely.geometry import LineString

from worksprog.course.services import create_feature
from worksprog.drainage.queries import check_network
from worksprog.drainage.queries.tidy import broken_rules, tidy_rules
from worksprog.drainage.services import set_reach
from worksprog.drainage.services.tidy import keep_tidy_rules, set_buried_service


def page(name, club, *args):
    return reverse(f"drainage:{name}", args=[club.slug, *args])


@pytest.fixture
def main(cast, drain):
    """A service across the upper reach, at right angles and half way along."""
    x, y = drain.upper.geometry.interpolate(0.5, normalized=True).coords[0]
    (ax, ay), (bx, by) = drain.upper.geometry.coords[0], drain.upper.geometry.coords[-1]
    far = drain.upper.length_m / 10
    ux, uy = (bx - ax) / drain.upper.length_m, (by - ay) / drain.upper.length_m
    line = LineString([(x - uy * far, y + ux * far), (x + uy * far, y - ux * far)])
    return create_feature(
        club=cast.club, kind="service", geometry=line, by=cast.manager, ref="SV1", state="existing"
    )


def rules(club):
    return {one.rule: one for one in broken_rules(club, check_network(club))}


def test_a_service_of_unknown_depth_is_to_be_found_before_digging(cast, drain, main):
    found = rules(cast.club)["unknown"]
    assert "its depth is not known. Find it before digging" in found.words
    assert found.reach_keys == (str(drain.upper.uuid),)
    assert found.chainage_m == pytest.approx(drain.upper.length_m / 2, abs=0.01)


def test_a_known_level_is_compared_with_the_drain(cast, drain, main):
    check = check_network(cast.club).reach(str(drain.upper.uuid))
    middle = (check.upstream_level_m + check.downstream_level_m) / 2
    given = {"feature": main, "by": cast.manager, "what": "irrigation"}
    set_buried_service(**given, level_m=middle - 1.0, outside_diameter_mm=110.0)
    assert not rules(cast.club).keys() & {"unknown", "service"}
    set_buried_service(**given, level_m=middle - 0.2, outside_diameter_mm=110.0)
    assert "irrigation main SV1" in rules(cast.club)["service"].words


def test_what_cannot_be_of_a_service(cast, drain, main):
    with pytest.raises(ValidationError, match="no buried service"):
        set_buried_service(feature=drain.upper, by=cast.manager, what="gas")
    with pytest.raises(ValidationError, match="metres above datum"):
        set_buried_service(feature=main, by=cast.manager, what="gas", level_m=1e6)


def test_the_clubs_own_limits_hold(cast, drain):
    set_reach(feature=drain.lower, by=cast.manager, inside_diameter_mm=600.0)
    before = check_network(cast.club).reach(str(drain.lower.uuid)).capacity_velocity_ms
    assert "velocity" not in rules(cast.club)
    own = tidy_rules(cast.club)
    own.velocity_ms = before + 0.1
    keep_tidy_rules(rules=own, by=cast.manager)
    assert "velocity" in rules(cast.club)
    assert tidy_rules(cast.club).pk == own.pk


def test_the_pages(cast, drain, main, as_manager, as_staff):
    told = as_manager.get(page("tidy", cast.club)).content.decode()
    assert "Buried services whose depth is not known" in told
    assert f"{reverse('course:map', args=[cast.club.slug])}#{main.uuid}" in told
    for name, args in (("tidy-notes", ()), ("reach-tidy-notes", (drain.upper.uuid,))):
        assert (
            "Find it before digging" in as_staff.get(page(name, cast.club, *args)).content.decode()
        )
    assert (
        page("tidy-notes", cast.club) in as_manager.get(page("network", cast.club)).content.decode()
    )
    assert (
        page("reach-tidy-notes", cast.club, drain.upper.uuid)
        in as_manager.get(page("reach", cast.club, drain.upper.uuid)).content.decode()
    )


def test_changing_limits_and_services_by_the_pages(cast, drain, main, as_manager, as_staff):
    address = page("service", cast.club, main.uuid)
    sent = {"what": "irrigation", "depth_m": "0.6", "level_m": "", "outside_diameter_mm": "110"}
    assert as_staff.post(address, sent).status_code == 403
    assert as_manager.post(address, sent).status_code == 302
    main.refresh_from_db()
    assert (main.service.what, main.service.depth_m) == ("irrigation", 0.6)
    assert as_manager.post(address, {**sent, "depth_m": "60"}).status_code == 422
    own = dict(vars(tidy_rules(cast.club).limits()))
    address = page("tidy", cast.club)
    assert as_manager.post(address, {**own, "crossing_m": "0.25"}).status_code == 302
    assert tidy_rules(cast.club).crossing_m == 0.25
    assert as_manager.post(address, {**own, "crossing_m": "-1"}).status_code == 422
    assert tidy_rules(cast.club).crossing_m == 0.25


def test_the_pages_cost_few_queries(cast, drain, main, as_manager, django_assert_max_num_queries):
    for name, args in (("tidy", ()), ("tidy-notes", ()), ("service", (main.uuid,))):
        with django_assert_max_num_queries(15):
            as_manager.get(page(name, cast.club, *args))
