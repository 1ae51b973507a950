"""Promises of works, what they are worth, hours given back by year, and their pages."""

from __future__ import annotations

import csv
import io
import re
import uuid
from datetime import date
from decimal import Decimal

import numpy_financial as npf
import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from tests.cast import Cast
from tests.works.conftest import Works
from worksprog.clubs.models import Change
from worksprog.clubs.records import save_record
from worksprog.works.models import (
    Benefit,
    EstimateRules,
    ItemState,
    LeftAsIs,
    Price,
    WorthRules,
)
from worksprog.works.queries.worth import (
    assumed_by,
    hours_back_by_year,
    programme_worth,
    promises_of,
)
from worksprog.works.services import (
    build_estimate,
    create_item,
    create_phase,
    create_project,
)
from worksprog.works.services.worth import keep_left_as_is, keep_promise, keep_worth_rules


def promise(works: Works, cast: Cast, **facts) -> Benefit:
    given = {
        "project": works.project,
        "what": Benefit.What.WET_GROUND,
        "words": "by the crew's reckoning",
        "hours_low": 60,
        "hours_likely": 100,
        "hours_high": 150,
        "begins_on": date(2027, 10, 1),
        "promised_on": date(2026, 9, 1),
    }
    return keep_promise(benefit=Benefit(club=cast.club, **(given | facts)), by=cast.manager)


def money_rests_on(cast: Cast, **facts) -> None:
    rules = EstimateRules.objects.filter(club=cast.club).first() or EstimateRules(club=cast.club)
    rules.discount_percent, rules.horizon_years = Decimal("4.00"), 15
    keep_worth_rules(rules=rules, worth=WorthRules(club=cast.club, **facts), by=cast.manager)


def test_hours_by_year_go_by_the_days_in_which_they_stand(works: Works, cast: Cast) -> None:
    promise(works, cast)
    promise(works, cast, what=Benefit.What.LEAVES, begins_on=date(2026, 9, 1), years=1)
    years = {one.year.name: one for one in hours_back_by_year(works.programme)}
    assert list(years) == [f"{y}/{y - 1999}" for y in range(2026, 2033)]
    assert years["2027/28"].by_what["wet_ground"] == pytest.approx(100 * 183 / 366)
    assert years["2027/28"].hours.low == pytest.approx(60 * (183 + 153) / 366)
    assert years["2028/29"].hours.likely == pytest.approx(100)
    assert years["2026/27"].by_what["leaves"] == pytest.approx(100 * 212 / 365)
    assert years["2029/30"].by_what["leaves"] == 0
    assert all(one.standing == 0 for one in years.values())


def test_a_promise_begins_when_its_job_is_in_play(works: Works, cast: Cast) -> None:
    promise(works, cast, begins_on=None, item=works.tee_item)
    (no_date,) = promises_of(works.programme)
    assert no_date.begins is None
    assert no_date.begins_from == "no date yet"
    item = works.tee_item
    item.state, item.growing_in_weeks = ItemState.DONE, 5
    item.started_on, item.finished_on = date(2026, 9, 7), date(2026, 10, 2)
    save_record(item, by=cast.manager)
    (stands,) = promises_of(works.programme)
    assert stands.begins == date(2026, 11, 7)
    assert stands.begins_from == "in play"


def test_worth_of_a_programme_by_hand(works: Works, cast: Cast) -> None:
    """Both jobs finish on known days; the flows are written out and discounted by the library."""
    for item, finish in ((works.carrier, date(2026, 9, 30)), (works.tee_item, date(2027, 9, 1))):
        item.state, item.started_on, item.finished_on = ItemState.DONE, date(2026, 9, 1), finish
        item.growing_in_weeks = 0
        save_record(item, by=cast.manager)
        build_estimate(item=item, by=cast.manager)
    promise(works, cast, begins_on=date(2027, 9, 2), days_likely=5, days_high=9)
    keep_left_as_is(
        left=LeftAsIs(
            club=cast.club,
            project=works.project,
            words="pumps",
            money_low=100,
            money_likely=200,
            money_high=300,
            grows_percent=Decimal(2),
            stated_on=date(2026, 9, 1),
        ),
        by=cast.manager,
    )
    money_rests_on(
        cast,
        counted_low=40,
        counted_likely=70,
        counted_high=90,
        day_low=20,
        day_likely=50,
        day_high=80,
    )
    found = programme_worth(works.programme)
    assert found.whole is not None
    hour = float(Price.objects.get(club=cast.club, code="labour-crew").likely)
    yearly = 100 * hour * 0.7 + 5 * 50
    paid = 365 / 365.25
    late = 1 / 365.25
    costs = {
        item.pk: float(item.estimates.get(is_live=True).money_likely)
        for item in (works.carrier, works.tee_item)
    }
    at_tee = [-costs[works.tee_item.pk]]
    for year in range(1, 16):
        part = 1 - late if year == 1 else 1.0
        at_tee.append(yearly * part + 200 * 1.02 ** (paid + year - 1))
    by_hand = npf.npv(0.04, at_tee) * 1.04**-paid
    by_hand -= costs[works.carrier.pk] * 1.04 ** -(29 / 365.25)
    assert found.whole.likely.net_worth == pytest.approx(by_hand)
    assert found.whole.likely.nothing_stated
    assert found.unweighed == []
    assert found.without_estimate == []


def test_the_page_lays_out_what_payback_and_worth_follow_from(
    works: Works, cast: Cast, client: Client
) -> None:
    """Read back from the page and reckoned again with nothing but what stands there."""
    for item in (works.carrier, works.tee_item):
        item.state, item.growing_in_weeks = ItemState.DONE, 0
        item.started_on, item.finished_on = date(2026, 9, 1), date(2027, 3, 2)
        save_record(item, by=cast.manager)
        build_estimate(item=item, by=cast.manager)
    promise(works, cast, begins_on=date(2027, 10, 1), hours_low=90, hours_likely=400,
            hours_high=500)  # fmt: skip
    left = LeftAsIs(
        club=cast.club,
        project=works.project,
        words="pump hire",
        money_low=800,
        money_likely=800,
        money_high=800,
        grows_percent=Decimal(3),
        stated_on=date(2026, 9, 1),
    )
    keep_left_as_is(left=left, by=cast.manager)
    money_rests_on(cast)
    found = programme_worth(works.programme).projects[0].worth
    assert found is not None
    answer = found.likely
    client.force_login(cast.manager)
    whole = client.get(reverse("works:worth", args=[cast.club.slug])).content.decode()
    part = client.get(
        reverse("works:project-worth", args=[cast.club.slug, works.project.uuid])
    ).content.decode()
    assert "£800 of it spared" in whole
    assert "(£800 of it for not leaving" in part
    assert f"£{answer.money_a_year:,.0f}<small>" in whole
    for page in (whole, part):
        told = page[page.index('<details class="account">') :].split("</details>")[0]
        counts, flows = (
            [
                [
                    float(re.sub("[£,]", "", cell).replace("−", "-"))
                    for cell in re.findall(r'class="fig">([−£\d.,]+)</td>', row)
                ]
                for row in re.findall("<tr><td>.*?</tr>", table)
            ]
            for table in re.findall("<tbody>(.*?)</tbody>", told, re.DOTALL)
        )
        by_hand = sum(amount * 1.04**-when for when, amount, *_ in flows)
        assert by_hand == pytest.approx(answer.net_worth, abs=2)
        cost = -sum(row[1] for row in flows if row[1] < 0)
        assert cost == pytest.approx(answer.cost, abs=0.02)
        come, covered = 0.0, None
        for day in range(365 * 16):
            at = day / 365
            come = sum(money * max(min(end, at) - start, 0) for start, end, money in counts)
            if come >= cost:
                covered = at
                break
        assert covered is not None
        first = min(row[0] for row in flows)
        assert covered - first == pytest.approx(answer.payback_years, abs=0.01)
        assert f"{answer.payback_years:.3f} years" in told


def test_projects_without_a_promise_are_not_weighed(works: Works, cast: Cast) -> None:
    found = programme_worth(works.programme)
    assert found.projects == []
    assert found.whole is None
    assert [project for project, _ in found.unweighed] == [works.project]


def test_an_hour_without_a_cost_gives_hours_and_no_money(works: Works, cast: Cast) -> None:
    Price.objects.filter(club=cast.club, category="labour").delete()
    promise(works, cast)
    found = programme_worth(works.programme)
    assert found.hours.likely == 100
    assert found.whole is None
    money_rests_on(cast, hour_low=18, hour_likely=20, hour_high=22)
    assert programme_worth(works.programme).whole is not None


def test_the_crews_own_line_of_the_book_is_an_hours_cost(works: Works, cast: Cast) -> None:
    crew = Price.objects.get(club=cast.club, code="labour-crew")
    crew.name, crew.likely = "Crew", 22
    Price.objects.filter(pk=crew.pk).update(code="labour-other", likely=24)
    assert assumed_by(cast.club).hour.likely == 24
    crew.pk, crew.uuid = None, uuid.uuid4()
    save_record(crew, by=cast.manager)
    assert assumed_by(cast.club).hour.likely == 22
    assert assumed_by(cast.club).hour_from == "price book: Crew"


def test_shelved_items_promise_nothing(works: Works, cast: Cast) -> None:
    promise(works, cast, item=works.tee_item)
    works.tee_item.state = ItemState.SHELVED
    save_record(works.tee_item, by=cast.manager)
    assert promises_of(works.programme) == []


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"hours_low": 200}, "hours_likely", "must rise in that order, not 200, 100, 150"),
        ({"days_low": 3}, "days_likely", "Days: low, likely and high must rise"),
        ({"days_low": -1}, "days_low", "greater than or equal to 0"),
        ({"years": 0}, "years", "greater than or equal to 1"),
        ({"years": 101}, "years", "less than or equal to 100"),
        ({"words": ""}, "words", "cannot be blank"),
        (dict.fromkeys(("hours_low", "hours_likely", "hours_high"), 0), "__all__", "nothing to keep"),
    ],
)  # fmt: skip
def test_bad_promises(works: Works, cast: Cast, facts, field: str, words: str) -> None:
    with pytest.raises(ValidationError) as error:
        promise(works, cast, **facts)
    told = (
        error.value.message_dict
        if hasattr(error.value, "error_dict")
        else {"__all__": error.value.messages}
    )
    assert words in " ".join(told[field])
    assert not Benefit.objects.exists()


def test_a_promise_of_another_projects_item_is_refused(works: Works, cast: Cast) -> None:
    other = create_project(programme=works.programme, code="X", name="Other", by=cast.manager)
    phase = create_phase(project=other, name="One", by=cast.manager)
    item = create_item(phase=phase, kind="turfing", name="Turf", by=cast.manager)
    with pytest.raises(ValidationError, match="another project"):
        promise(works, cast, item=item)


# Pages.


def page(cast: Cast, name: str, *args) -> str:
    return reverse(f"works:{name}", args=[cast.club.slug, *args])


def test_the_page_says_what_it_rests_on(works: Works, cast: Cast, as_committee: Client) -> None:
    assert b"No project promises anything yet" in as_committee.get(page(cast, "worth")).content
    build_estimate(item=works.carrier, by=cast.manager)
    promise(works, cast, begins_on=None)
    text = as_committee.get(page(cast, "worth")).content.decode()
    assert "An hour saved is money only when it is worked elsewhere or not paid." in text
    assert "days are told and not counted" in text
    assert "No date yet" in text
    assert "usual figure, nobody set it" in text
    assert "No estimate yet, so no cost: Rebuild tee 8." in text
    assert "Change what the money rests on" not in text


def test_a_promise_is_kept_changed_and_taken_back(
    works: Works, cast: Cast, as_manager: Client
) -> None:
    new = page(cast, "new-promise", works.project.uuid)
    assert "routine-figures" in as_manager.get(new).content.decode()
    sent = {
        "what": "leaves",
        "item": str(works.tee_item.pk),
        "hours_low": "20",
        "hours_likely": "10",
        "hours_high": "40",
        "days_low": "0",
        "days_likely": "0",
        "days_high": "0",
        "money_a_year": "0",
        "begins_on": "",
        "years": "20",
        "words": "stems of the log",
    }
    refused = as_manager.post(new, sent)
    assert refused.status_code == 422
    text = refused.content.decode()
    assert "low, likely and high must rise in that order, not 20, 10, 40" in text
    assert "stems of the log" in text
    assert as_manager.post(new, sent | {"hours_likely": "30"}).status_code == 302
    row = Benefit.objects.get()
    assert row.promised_on == cast.club.today()
    own = page(cast, "promise", row.uuid)
    assert "Take the promise back" in as_manager.get(own).content.decode()
    as_manager.post(own, sent | {"hours_likely": "35"})
    row.refresh_from_db()
    assert row.hours_likely == 35
    part = as_manager.get(page(cast, "project-worth", works.project.uuid)).content.decode()
    assert "35 h" in part
    as_manager.post(page(cast, "drop-promise", row.uuid))
    assert not Benefit.objects.exists()
    assert Change.objects.filter(kind="benefit", action="removed").exists()


def test_the_cost_of_leaving_it_is_stated(works: Works, cast: Cast, as_manager: Client) -> None:
    new = page(cast, "new-left-as-is", works.project.uuid)
    sent = {
        "words": "pumps hired",
        "money_low": "300",
        "money_likely": "200",
        "money_high": "900",
        "grows_percent": "3",
    }
    assert "must rise" in as_manager.post(new, sent).content.decode()
    sent["money_likely"] = "500"
    bad = as_manager.post(new, sent | {"grows_percent": "-100"})
    assert bad.status_code == 422
    assert as_manager.post(new, sent).status_code == 302
    row = LeftAsIs.objects.get()
    as_manager.post(page(cast, "left-as-is", row.uuid), sent | {"money_likely": "600"})
    row.refresh_from_db()
    assert row.money_likely == 600
    as_manager.post(page(cast, "drop-left-as-is", row.uuid))
    assert not LeftAsIs.objects.exists()


RULES = {
    "discount_percent": "3.5",
    "horizon_years": "20",
    "hour_low": "",
    "hour_likely": "",
    "hour_high": "",
    "counted_low": "40",
    "counted_likely": "70",
    "counted_high": "100",
    "day_low": "",
    "day_likely": "",
    "day_high": "",
}


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"discount_percent": "-100"}, "lies above -100 % a year, not at -100 %"),
        ({"horizon_years": "0"}, "whole years, 1 to 100, not 0"),
        ({"horizon_years": "900"}, "whole years, 1 to 100, not 900"),
        ({"counted_low": "80"}, "must rise in that order, not 80, 70, 100"),
        ({"counted_high": "120"}, "less than or equal to 100"),
        ({"day_likely": "50"}, "give low, likely and high, or leave all three empty"),
        ({"hour_low": "9", "hour_likely": "8", "hour_high": "10"}, "must rise in that order"),
    ],
)
def test_rules_that_cannot_be(works: Works, cast: Cast, as_manager: Client, sent, words) -> None:
    answer = as_manager.post(page(cast, "worth-rules"), RULES | sent)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not WorthRules.objects.exists()
    assert not EstimateRules.objects.exists()


def test_rules_are_kept_together(works: Works, cast: Cast, as_manager: Client) -> None:
    answer = as_manager.post(page(cast, "worth-rules"), RULES | {"horizon_years": "25"})
    assert answer.status_code == 302
    assert EstimateRules.objects.get().horizon_years == 25
    assert WorthRules.objects.get().counted_likely == 70
    as_manager.post(page(cast, "worth-rules"), RULES | {"discount_percent": "5"})
    assert EstimateRules.objects.get().discount_percent == 5


def test_the_committee_reads_and_changes_nothing(
    works: Works, cast: Cast, as_committee: Client
) -> None:
    row = promise(works, cast)
    for name, args in (
        ("worth-rules", ()),
        ("new-promise", (works.project.uuid,)),
        ("promise", (row.uuid,)),
        ("drop-promise", (row.uuid,)),
    ):
        assert as_committee.post(page(cast, name, *args)).status_code == 403
    assert Benefit.objects.count() == 1


def test_csv_has_promises_and_years_and_no_formulas(
    works: Works, cast: Cast, as_manager: Client
) -> None:
    promise(works, cast, words="=1+1")
    answer = as_manager.get(page(cast, "worth-csv"))
    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len({len(row) for row in rows}) == 1
    assert rows[1][3:6] == ["60.0", "100.0", "150.0"]
    assert rows[1][-1] == "'=1+1"
    years = {row[2]: row for row in rows[2:]}
    assert years["year 2028/29"][4] == "100.0"
