"""The report's pages, as each role sees them."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from tests.reports.conftest import Works
from tests.reports.more import add_jobs
from worksprog.clubs.records import save_record
from worksprog.hours.services import log_hours
from worksprog.planning.services import make_plan
from worksprog.reports.models import Decision, Report
from worksprog.reports.services import (
    ask_decision,
    change_report,
    draft_report,
    issue_report,
    render_report,
)
from worksprog.runs.models import Run

MOST_QUERIES = 15


@pytest.fixture(autouse=True)
def _nothing_kept():
    cache.clear()


def _url(name: str, *args) -> str:
    return reverse(f"reports:{name}", args=["first", *args])


@pytest.fixture
def issued(works: Works, draft: Report) -> Report:
    report = issue_report(report=draft, by=works.cast.manager)
    render_report(report=report, by=works.cast.manager)
    return report


def test_a_manager_drafts_asks_and_issues(works: Works, as_manager: Client) -> None:
    page = as_manager.get(_url("new"))
    assert page.status_code == 200
    form = page.context["form"]
    facts = {name: form[name].value() or "" for name in form.fields}
    to = as_manager.post(_url("new"), {**facts, "opening": "A dry autumn."})
    draft = Report.objects.get()
    assert to["Location"] == _url("edit", draft.uuid) and draft.opening == "A dry autumn."
    as_manager.post(
        _url("ask", draft.uuid),
        {"ask-question": "Hold it?", "ask-project": works.drain.pk, "ask-amount": "100"},
    )
    assert b"Hold it?" in as_manager.get(_url("edit", draft.uuid)).content
    assert b"cannot be changed" in as_manager.get(_url("issue", draft.uuid)).content
    to = as_manager.post(_url("issue", draft.uuid))
    draft.refresh_from_db()
    run = Run.objects.get()
    assert draft.number == 1 and to["Location"] == f"/c/first/runs/{run.uuid}/"


def test_before_issuing_it_says_what_to_settle(
    works: Works, draft: Report, as_manager: Client
) -> None:
    address = _url("issue", draft.uuid)
    page = as_manager.get(address).content.decode()
    for words in ("Make the plan again first", "The period is one day", "told twice"):
        assert words not in page
    log_hours(
        club=works.cast.club,
        person=works.cast.membership(works.cast.staff),
        client_id=uuid.uuid4(),
        worked_on=works.today,
        hours=Decimal("3"),
        item=works.carrier,
    )
    change_report(report=draft, by=works.cast.manager, from_date=works.today)
    page = as_manager.get(address).content.decode()
    assert "before hours logged since.</b>" in page and "Make the plan again first" in page
    assert reverse("planning:plan", args=["first"]) in page
    assert "The period is one day" in page
    make_plan(programme=works.programme, by=works.cast.manager)
    assert "Make the plan again first" not in as_manager.get(address).content.decode()
    works.tee_item.name = "Rebuild the tee"
    save_record(works.tee_item, by=works.cast.manager)
    page = as_manager.get(address).content.decode()
    assert "before jobs, estimates or windows changed since.</b>" in page


def test_an_overlap_with_an_issued_report_is_told(
    works: Works, issued: Report, as_manager: Client
) -> None:
    again = draft_report(programme=works.programme, by=works.cast.manager)
    page = as_manager.get(_url("issue", again.uuid)).content.decode()
    assert "Report 1, " in page and "told twice" in page


def test_pressing_issue_twice_issues_once(works: Works, draft: Report, as_manager: Client) -> None:
    for _ in range(2):
        as_manager.post(_url("issue", draft.uuid))
    assert Report.objects.get().number == 1
    assert Run.objects.count() == 1


def test_a_wrong_period_keeps_what_was_entered(
    works: Works, draft: Report, as_manager: Client
) -> None:
    page = as_manager.post(
        _url("edit", draft.uuid),
        {
            "title": "T", "addressed_to": "us", "paper": "A4", "opening": "Kept words",
            "from_date": works.today.isoformat(),
            "to_date": (works.today + timedelta(days=1)).isoformat(),
        },
    )  # fmt: skip
    assert page.status_code == 200
    assert "Figures can run to today" in page.content.decode()
    assert b"Kept words" in page.content


def test_money_without_a_project_is_told_beside_the_field(
    draft: Report, as_manager: Client
) -> None:
    page = as_manager.post(_url("ask", draft.uuid), {"ask-question": "?", "ask-amount": "5"})
    assert "name which one" in page.content.decode()
    assert draft.decisions.count() == 1


def test_the_committee_sees_issued_reports_only(
    works: Works, draft: Report, as_committee: Client
) -> None:
    assert draft.title not in as_committee.get(_url("list")).content.decode()
    for name in ("report", "download"):
        assert as_committee.get(_url(name, draft.uuid)).status_code == 404
    issue_report(report=draft, by=works.cast.manager)
    assert draft.title in as_committee.get(_url("list")).content.decode()
    assert as_committee.get(_url("report", draft.uuid)).status_code == 200


def test_who_may_do_what(
    issued: Report, as_committee: Client, as_staff: Client, as_stranger: Client, as_manager: Client
) -> None:
    decision = issued.decisions.get()
    answer = _url("answer", decision.uuid)
    assert as_manager.post(answer, {"answer": "agreed"}).status_code == 403
    assert as_staff.get(_url("list")).status_code == 403
    assert as_staff.get(_url("download", issued.uuid)).status_code == 403
    assert as_committee.get(_url("new")).status_code == 403
    assert as_committee.post(_url("issue", issued.uuid)).status_code == 403
    for url in (_url("list"), _url("report", issued.uuid), _url("download", issued.uuid)):
        assert as_stranger.get(url).status_code == 404
    theirs = reverse("reports:report", args=["second", issued.uuid])
    assert as_stranger.get(theirs).status_code == 404
    assert Decision.objects.get().answer == "open"


def test_the_committee_answers_once(works: Works, issued: Report, as_committee: Client) -> None:
    decision = issued.decisions.get()
    page = as_committee.get(_url("decisions"))
    assert "£9,000" in page.content.decode()
    assert (
        "This field is required"
        in as_committee.post(_url("answer", decision.uuid), {"words": "x"}).content.decode()
    )
    as_committee.post(_url("answer", decision.uuid), {"answer": "agreed", "words": "Yes."})
    page = as_committee.post(_url("answer", decision.uuid), {"answer": "refused"}, follow=True)
    assert "Answered already" in page.content.decode()
    decision.refresh_from_db()
    assert (decision.answer, decision.answered_by) == ("agreed", works.cast.committee)
    assert "C. Marsh" in as_committee.get(_url("report", issued.uuid)).content.decode()


def test_the_page_shows_what_the_pdf_shows(issued: Report, as_committee: Client) -> None:
    page = as_committee.get(_url("report", issued.uuid)).content.decode()
    for words in ("No. 1, issued to the greens committee", "Money and hours by project",
                  "Where the drain has got to", "Buried services", issued.fingerprint,
                  "Release the rest of the drain"):  # fmt: skip
        assert words in page, words
    assert page.count("<svg") == 3
    assert ' style="' not in page


def test_the_page_stays_as_issued(works: Works, issued: Report, as_committee: Client) -> None:
    before = as_committee.get(_url("report", issued.uuid)).content.decode()
    works.drain.name = "Renamed"
    works.drain.save()
    cache.clear()
    after = as_committee.get(_url("report", issued.uuid)).content.decode()
    part = slice(before.index("key-figures"), before.index("fingerprint"))
    assert before[part] == after[part] and "Renamed" not in after[part]


def test_the_download_is_the_kept_pdf(issued: Report, as_committee: Client) -> None:
    answer = as_committee.get(_url("download", issued.uuid))
    issued.refresh_from_db()
    assert issued.pdf and answer.content == bytes(issued.pdf)
    assert answer["Content-Type"] == "application/pdf"
    assert "first-club-report-1-" in answer["Content-Disposition"]


def test_words_with_markup_are_words(works: Works, draft: Report, as_manager: Client) -> None:
    draft.opening = "<script>alert(1)</script>"
    draft.save()
    render_report(report=draft, by=works.cast.manager)
    page = as_manager.get(_url("report", draft.uuid)).content.decode()
    assert "<script>alert" not in page and "&lt;script&gt;alert" in page


def test_a_draft_is_thrown_away_and_a_decision_taken_out(draft: Report, as_manager: Client) -> None:
    as_manager.post(_url("drop-decision", draft.decisions.get().uuid))
    assert not draft.decisions.exists()
    as_manager.post(_url("drop", draft.uuid))
    assert not Report.objects.exists()


def test_without_a_programme_the_list_says_what_comes_first(as_manager: Client) -> None:
    page = as_manager.get(reverse("reports:list", args=["first"]), follow=True)
    assert "Set a programme up first" in page.content.decode()
    assert as_manager.get(reverse("reports:new", args=["first"])).status_code == 302


@pytest.mark.parametrize("jobs", [0, 8])
def test_every_page_asks_little_however_much_there_is(
    works: Works, draft: Report, as_manager: Client, as_committee: Client,
    django_assert_max_num_queries, jobs: int,
) -> None:  # fmt: skip
    by = works.cast.manager
    add_jobs(works, jobs)
    for n in range(jobs):
        other = draft_report(programme=works.programme, by=by)
        ask_decision(report=other, question=f"Question {n}?", by=by, project=works.drain)
        issue_report(report=other, by=by)
    render_report(report=draft, by=by)
    for client, url in (
        (as_manager, _url("list")), (as_manager, _url("new")),
        (as_manager, _url("edit", draft.uuid)), (as_manager, _url("issue", draft.uuid)),
        (as_manager, _url("report", draft.uuid)), (as_manager, _url("download", draft.uuid)),
        (as_committee, _url("list")), (as_committee, _url("decisions")),
    ):  # fmt: skip
        with django_assert_max_num_queries(MOST_QUERIES):
            assert client.get(url).status_code == 200
