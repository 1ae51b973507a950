"""Drafted, issued once, frozen, answered once."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal
from io import BytesIO, StringIO
from pathlib import Path

import pikepdf
import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from tests.reports.conftest import Works
from worksprog.clubs.models import Change
from worksprog.hours.services import log_hours
from worksprog.reports import services
from worksprog.reports.figures import fingerprint_of
from worksprog.reports.models import Decision, Report
from worksprog.reports.rendering import ReportError, render_pdf
from worksprog.reports.services import (
    answer_decision,
    ask_decision,
    change_report,
    draft_report,
    drop_decision,
    drop_report,
    figures_of,
    issue_report,
    render_report,
)
from worksprog.runs.models import RunState
from worksprog.runs.services import request_run
from worksprog.works.models import Project
from worksprog.works.services import create_programme, create_project, record_spend


def _issue(report: Report, works: Works) -> Report:
    return issue_report(report=report, by=works.cast.manager)


def test_a_draft_takes_the_usual_period_and_title(works: Works) -> None:
    report = draft_report(programme=works.programme, by=works.cast.manager)
    assert (report.from_date, report.to_date) == (works.today - timedelta(weeks=5), works.today)
    assert report.title == services.title_to(works.today)


def test_the_next_period_begins_after_the_last_issued_report(works: Works, draft: Report) -> None:
    change_report(report=draft, by=None, to_date=works.today - timedelta(days=7))
    _issue(draft, works)
    again = draft_report(programme=works.programme, by=works.cast.manager)
    assert again.from_date == works.today - timedelta(days=6)


def test_a_period_of_a_few_days_is_not_what_is_filled_in(works: Works, draft: Report) -> None:
    change_report(report=draft, by=None, to_date=works.today - timedelta(days=1))
    _issue(draft, works)
    again = draft_report(programme=works.programme, by=works.cast.manager)
    assert (again.from_date, again.to_date) == (works.today - timedelta(weeks=5), works.today)


@pytest.mark.parametrize("back", [(-1, -1), (3, 5)])
def test_a_period_to_come_or_upside_down_is_refused(works: Works, back) -> None:
    start, end = (works.today - timedelta(days=days) for days in (back[1], back[0]))
    if back[0] > 0:
        start, end = end, start
        end = start - timedelta(days=1)
    with pytest.raises(ValidationError):
        draft_report(programme=works.programme, by=None, from_date=start, to_date=end)
    assert not Report.objects.exists()


def test_issuing_numbers_and_freezes(works: Works, draft: Report) -> None:
    issued = _issue(draft, works)
    assert (issued.number, issued.state) == (1, "issued")
    assert issued.figures is not None
    assert issued.figures["report"]["number"] == 1
    assert issued.figures["report"]["issued_by"] == "M. Quill"
    assert issued.fingerprint == fingerprint_of(issued.figures)
    second = draft_report(programme=works.programme, by=works.cast.manager)
    assert _issue(second, works).number == 2


def test_issuing_twice_issues_once(works: Works, draft: Report) -> None:
    first = _issue(draft, works)
    record_spend(item=works.carrier, spent_on=works.today, description="Stone",
                 amount=Decimal(500), by=works.cast.manager)  # fmt: skip
    again = _issue(draft, works)  # the stale row, as a second press has it
    assert (again.number, again.fingerprint) == (1, first.fingerprint)
    changes = Change.objects.filter(record_uuid=draft.uuid, details__has_key="number")
    assert changes.filter(action="changed").count() == 1


def test_made_again_after_the_data_changed_it_is_the_same_document(
    works: Works, draft: Report
) -> None:
    by = works.cast.manager
    issued = _issue(draft, works)
    before = render_report(report=issued, by=by)
    record_spend(item=works.carrier, spent_on=works.today, description="Stone",
                 amount=Decimal(500), by=by)  # fmt: skip
    log_hours(club=works.cast.club, person=works.cast.membership(works.cast.staff),
              client_id=uuid.uuid4(), worked_on=works.today, hours=Decimal(6),
              item=works.carrier, quantity=30)  # fmt: skip
    works.programme.name = "Another name"
    works.programme.save()
    works.cast.club.name = "Another club"
    works.cast.club.save()
    Report.objects.filter(pk=issued.pk).update(pdf=None, pdf_made_at=None)
    again = render_report(report=Report.objects.get(pk=issued.pk), by=by)
    assert again == before


def test_a_draft_moves_with_the_data(works: Works, draft: Report) -> None:
    before = fingerprint_of(figures_of(draft))
    record_spend(item=works.carrier, spent_on=works.today, description="Stone",
                 amount=Decimal(500), by=works.cast.manager)  # fmt: skip
    assert fingerprint_of(figures_of(draft)) != before


def test_an_issued_report_cannot_be_changed_asked_or_dropped(works: Works, draft: Report) -> None:
    issued = _issue(draft, works)
    decision = issued.decisions.get()
    for attempt in (
        lambda: change_report(report=issued, by=None, title="Other"),
        lambda: change_report(report=draft, by=None, title="Other"),
        lambda: ask_decision(report=issued, question="More?", by=None),
        lambda: drop_decision(decision=decision, by=None),
        lambda: drop_report(report=issued, by=None),
    ):
        with pytest.raises(ValidationError, match="is issued"):
            attempt()
    row = Report.objects.get(pk=issued.pk)
    assert row.title == draft.title and row.decisions.count() == 1


def test_figures_tampered_with_are_found_out(works: Works, draft: Report) -> None:
    issued = _issue(draft, works)
    assert issued.figures is not None
    issued.figures["projects"][0]["spent"] = "1"
    issued.save()
    with pytest.raises(ValidationError, match="fingerprint"):
        render_report(report=Report.objects.get(pk=issued.pk), by=None)


def test_the_database_keeps_an_issued_report_whole(works: Works, draft: Report) -> None:
    issued = _issue(draft, works)
    for broken in ({"number": None}, {"figures": None}, {"state": "draft"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Report.objects.filter(pk=issued.pk).update(**broken)


def test_a_changed_draft_forgets_its_working_copy(works: Works, draft: Report) -> None:
    render_report(report=draft, by=works.cast.manager)
    copy = Report.objects.get(pk=draft.pk)
    assert copy.pdf and copy.figures
    change_report(report=draft, by=works.cast.manager, opening="Other words.")
    changed = Report.objects.get(pk=draft.pk)
    assert changed.pdf is None and changed.figures is None


def test_a_working_copy_drawn_while_it_is_issued_is_not_kept(
    works: Works, draft: Report, monkeypatch
) -> None:
    def slow(figures, **kwargs):
        _issue(draft, works)
        return render_pdf(figures, **kwargs)

    monkeypatch.setattr(services, "render_pdf", slow)
    render_report(report=draft, by=works.cast.manager)
    row = Report.objects.get(pk=draft.pk)
    assert row.is_issued and row.pdf is None


def test_agreed_money_goes_to_the_project_once(works: Works, draft: Report) -> None:
    committee = works.cast.committee
    decision = _issue(draft, works).decisions.get()
    answered = answer_decision(
        decision=decision, answer="agreed", by=committee, words="From the reserve."
    )
    assert (answered.answered_by, answered.words) == (committee, "From the reserve.")
    assert answered.answered_at is not None
    assert Project.objects.get(pk=works.drain.pk).approved == Decimal("11500.50")
    with pytest.raises(ValidationError, match="Answered already"):
        answer_decision(decision=decision, answer="agreed", by=committee)
    assert Project.objects.get(pk=works.drain.pk).approved == Decimal("11500.50")


@pytest.mark.parametrize("answer", ["held", "refused"])
def test_other_answers_move_no_money(works: Works, draft: Report, answer: str) -> None:
    decision = _issue(draft, works).decisions.get()
    answer_decision(decision=decision, answer=answer, by=works.cast.committee)
    assert Project.objects.get(pk=works.drain.pk).approved == Decimal("9000")


def test_a_draft_asks_nobody_and_no_answer_is_none(works: Works, draft: Report) -> None:
    decision = draft.decisions.get()
    with pytest.raises(ValidationError, match="not issued"):
        answer_decision(decision=decision, answer="agreed", by=works.cast.committee)
    _issue(draft, works)
    for answer in ("open", "", "perhaps"):
        with pytest.raises(ValidationError, match="expected"):
            answer_decision(decision=decision, answer=answer, by=works.cast.committee)
    assert Decision.objects.get().answer == "open"


def test_a_decision_is_on_the_reports_own_programme_and_money_needs_a_project(
    works: Works, draft: Report
) -> None:
    other = create_programme(club=works.cast.club, name="Other", starts_on=works.today,
                             ends_on=works.today + timedelta(days=9), by=None,
                             is_live=False)  # fmt: skip
    stranger = create_project(programme=other, code="X", name="X", by=None)
    for facts in (
        {"question": "?", "project": stranger},
        {"question": "?", "amount": Decimal(5)},
        {"question": "?", "amount": Decimal(-5), "project": works.drain},
        {"question": "  "},
    ):
        with pytest.raises(ValidationError):
            ask_decision(report=draft, by=None, **facts)
    assert draft.decisions.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_job_makes_the_pdf_and_tells_where_it_is(works: Works, draft: Report) -> None:
    club = works.cast.club
    run = request_run(
        club=club, kind="reports.pdf", inputs={"report": str(draft.uuid)}, by=works.cast.manager
    )
    run.refresh_from_db()
    assert (run.state, run.error) == (RunState.DONE, "")
    assert run.outcome["address"] == f"/c/{club.slug}/reports/{draft.uuid}/"
    draft.refresh_from_db()
    assert draft.pdf
    with pikepdf.open(BytesIO(bytes(draft.pdf))) as pdf:
        assert len(pdf.pages) >= 4


@pytest.mark.django_db(transaction=True)
def test_a_job_that_cannot_be_done_says_why(works: Works, draft: Report, monkeypatch) -> None:
    def fails(figures, **kwargs):
        raise ReportError("The report's fonts are not there.")

    monkeypatch.setattr(services, "render_pdf", fails)
    for report, words in ((draft.uuid, "fonts"), (uuid.uuid4(), "no longer there")):
        run = request_run(club=works.cast.club, kind="reports.pdf",
                          inputs={"report": str(report)}, by=works.cast.manager)  # fmt: skip
        run.refresh_from_db()
        assert run.state == RunState.FAILED and words in run.error


def test_write_report_writes_a_file(works: Works, tmp_path: Path) -> None:
    out, said = tmp_path / "report.pdf", StringIO()
    call_command("write_report", club="first", out=out, paper="Letter", stdout=said)
    with pikepdf.open(out) as pdf:
        assert round(float(pdf.pages[0].mediabox[3])) == 792
    assert str(out) in said.getvalue()
    assert not Report.objects.exists()


def test_write_report_writes_an_issued_one_again(
    works: Works, draft: Report, tmp_path: Path
) -> None:
    issued = _issue(draft, works)
    kept = render_report(report=issued, by=None)
    out = tmp_path / "report.pdf"
    call_command("write_report", club="first", out=out, number=1, stdout=StringIO())
    assert out.read_bytes() == kept


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"club": "nowhere"}, "no club"),
        ({"number": 9}, "issued no report 9"),
        ({"out": Path("/no/such/folder/x.pdf")}, "no folder"),
        ({"club": "second"}, "no programme"),
    ],
)
def test_write_report_says_what_is_wrong(works: Works, tmp_path: Path, options, words) -> None:
    usual = {"club": "first", "out": tmp_path / "x.pdf"}
    with pytest.raises(CommandError, match=words):
        call_command("write_report", **{**usual, **options})
