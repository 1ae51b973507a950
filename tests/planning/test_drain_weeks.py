"""The drains on any date, by the live plan: the page, the map's figures, the notice on the plan."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from worksprog.course.services import change_feature
from worksprog.drainage.queries import check_holding, check_network
from worksprog.drainage.services import set_node_levels, set_reach
from worksprog.planning import drains

FAR = dt.date(2060, 1, 1)


@pytest.fixture
def hollow(crewed, today):
    """An old 100 mm pipe, its replacement, and a new drain above it that is built first."""
    today(dt.date(2026, 9, 7))
    manager = crewed.cast.manager
    mouth = crewed.outfall(100)
    set_node_levels(feature=mouth, by=manager, cover_level_m=None, invert_level_m=50.0)
    old = crewed.pipe("OLD", 0, 100, state="existing")
    new = crewed.pipe("NEW", 0, 100)
    above = crewed.pipe("UP", -100, 0)
    for feature, upper, lower, bore in (
        (old, 51, 50, 150),
        (new, 51, 50, 300),
        (above, 52, 51, 225),
    ):
        set_reach(
            feature=feature,
            by=manager,
            upstream_invert_m=float(upper),
            downstream_invert_m=float(lower),
            inside_diameter_mm=float(bore),
            catchment_ha=0.4,
        )
    set_reach(feature=old, by=manager, replaced_by=new)
    crewed.old, crewed.new, crewed.above = old, new, above
    return crewed


def build(course, first, then):
    from worksprog.works.services import link_items

    names = {course.new: "Renew the old pipe", course.above: "Lay the new drain"}
    jobs = [
        course.job(names[feature], "carrier_pipe", hours=30, features=[feature])
        for feature in (first, then)
    ]
    link_items(first=jobs[0], then=jobs[1], by=course.cast.manager)
    course.plan()
    return drains.drain_weeks(course.cast.club)


def page(name, club, **query):
    return reverse(f"planning:{name}", args=[club.slug], query=query)


def test_an_overload_only_for_a_time_is_found_with_its_weeks_and_the_order_that_avoids_it(hollow):
    weeks = build(hollow, hollow.above, hollow.new)
    (spell,) = weeks.through.passing
    rows = {row.item.name: row for row in hollow.programme.plans.get().items.all()}
    day = dt.timedelta(days=1)
    assert spell.name == "OLD"
    assert spell.starts_on == rows["Lay the new drain"].finish + day
    assert spell.until == rows["Renew the old pipe"].finish + day
    assert "until it is replaced by NEW" in drains.spell_words(spell, weeks.through)
    assert "“Renew the old pipe” done before “Lay the new drain”" in drains.order_words(
        spell, weeks
    )


def test_in_the_other_order_it_vanishes(hollow):
    assert build(hollow, hollow.new, hollow.above).through.passing == ()


def test_far_in_the_future_it_is_the_finished_network(hollow):
    build(hollow, hollow.above, hollow.new)
    check, gone = drains.drains_on(hollow.cast.club, FAR)
    finished = check_network(hollow.cast.club)
    assert {one.key: one.verdict for one in check.reaches} == {
        one.key: one.verdict for one in finished.reaches
    }
    assert gone == [str(hollow.old.uuid)]


def test_a_drain_being_built_carries_nothing_until_the_day_after_its_last_job(hollow):
    build(hollow, hollow.above, hollow.new)
    row = hollow.programme.plans.get().items.get(item__name="Lay the new drain")
    for on, stands in (
        (row.start, False),
        (row.finish, False),
        (row.finish + dt.timedelta(1), True),
    ):
        check, _ = drains.drains_on(hollow.cast.club, on)
        assert (str(hollow.above.uuid) in check.given) == stands


def test_a_drain_without_dates_is_named(hollow):
    weeks = drains.drain_weeks(hollow.cast.club)
    assert weeks.undated == ["NEW", "UP"]
    assert len(weeks.through.states) == 1


def test_drains_without_dates_are_named_before_the_weeks(hollow, as_manager):
    told = as_manager.get(page("drain-weeks", hollow.cast.club)).content.decode()
    assert told.count("Without dates in the plan") == 1
    named, weeks = told.index("Without dates in the plan"), told.index('class="keyfigures"')
    assert named < weeks


def test_what_was_worked_out_is_not_told_again_after_a_change(hollow):
    build(hollow, hollow.above, hollow.new)
    assert drains.drain_weeks(hollow.cast.club).through.passing
    set_reach(feature=hollow.old, by=hollow.cast.manager, inside_diameter_mm=400.0)
    assert not drains.drain_weeks(hollow.cast.club).through.passing


def test_the_page_and_the_notice_on_the_plan(hollow, as_manager):
    build(hollow, hollow.above, hollow.new)
    told = as_manager.get(page("drain-weeks", hollow.cast.club)).content.decode()
    assert "Only for a time" in told
    assert "weeks-bar passing" in told
    assert "Lay the new drain" in told
    notice = as_manager.get(page("drain-notice", hollow.cast.club)).content.decode()
    assert "OLD too small by" in notice
    assert (
        page("drain-notice", hollow.cast.club)
        in as_manager.get(page("plan", hollow.cast.club)).content.decode()
    )


def test_the_page_without_a_drain(crewed, as_manager):
    assert (
        "No pipe or ditch is drawn"
        in as_manager.get(page("drain-weeks", crewed.cast.club)).content.decode()
    )
    assert as_manager.get(page("drain-notice", crewed.cast.club)).content.decode().strip() == ""


def test_the_maps_date_tells_the_drains_and_what_is_replaced(hollow, as_manager):
    weeks = build(hollow, hollow.above, hollow.new)
    (spell,) = weeks.through.passing
    told = as_manager.get(
        page("feature-states", hollow.cast.club, on=spell.starts_on.isoformat())
    ).json()
    old = told["drains"][str(hollow.old.uuid)]
    assert old["state"] == "too_small"
    assert old["short_l_s"] == pytest.approx(spell.worst_m3s * 1000, abs=0.06)
    after = as_manager.get(page("feature-states", hollow.cast.club, on="2028-08-31")).json()
    assert after["states"][str(hollow.old.uuid)] == "removed"
    assert str(hollow.old.uuid) not in after["drains"]
    spells = as_manager.get(page("drain-spells", hollow.cast.club)).json()["spells"]
    assert [(one["key"], one["passing"]) for one in spells] == [(str(hollow.old.uuid), True)]


def test_the_date_costs_few_queries(hollow, as_manager, django_assert_max_num_queries):
    build(hollow, hollow.above, hollow.new)
    with django_assert_max_num_queries(15):
        as_manager.get(page("feature-states", hollow.cast.club, on="2027-03-01"))
    with django_assert_max_num_queries(15):
        as_manager.get(page("drain-weeks", hollow.cast.club))


def test_a_drain_to_be_replaced_still_has_its_page(hollow, as_manager):
    check = check_holding(hollow.cast.club, hollow.old.uuid)
    assert check.reach(str(hollow.old.uuid)).state == "carries"
    address = reverse("drainage:reach", args=[hollow.cast.club.slug, hollow.old.uuid])
    assert as_manager.get(address).status_code == 200


def test_a_drain_cannot_take_its_own_place(hollow):
    with pytest.raises(ValidationError, match="its own place"):
        set_reach(feature=hollow.new, by=hollow.cast.manager, replaced_by=hollow.old)
    with pytest.raises(ValidationError, match="its own place"):
        set_reach(feature=hollow.old, by=hollow.cast.manager, replaced_by=hollow.old)
    change_feature(feature=hollow.old, by=hollow.cast.manager, name="Old drain")
