"""What changes reports: drafted, worded, issued once, answered once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from worksprog.clubs.models import Change, Club, User
from worksprog.clubs.records import delete_record, save_record
from worksprog.planning.queries import MOVES_DATES, live_plan
from worksprog.reports.figures import fingerprint_of
from worksprog.reports.gathering import gather
from worksprog.reports.models import Decision, Report
from worksprog.reports.rendering import render_pdf
from worksprog.works.models import Programme, Project
from worksprog.works.services import approve_project

USUAL_PERIOD = timedelta(weeks=5)
SHORTEST_USUAL = timedelta(weeks=1)
_WORDED = frozenset(
    {"title", "addressed_to", "meeting_on", "from_date", "to_date", "paper", "opening"}
)

Tell = Callable[[int, str], None]


def usual_period(programme: Programme) -> tuple[date, date]:
    """From the day after the last issued report, or five weeks back, to the club's today.

    Where that leaves less than a week, five weeks back as well: a report of a day or two is made on
    purpose and not by leaving the form as it stands.
    """
    today = programme.club.today()
    last = Report.objects.filter(programme=programme, state=Report.State.ISSUED).aggregate(
        last=Max("to_date")
    )["last"]
    if last is None or today - last < SHORTEST_USUAL:
        return today - USUAL_PERIOD, today
    return last + timedelta(days=1), today


@dataclass(frozen=True)
class BeforeIssue:
    """What to settle before a report is issued for good; nothing of it forbids issuing."""

    plan_as_of: date | None = None
    hours_since: bool = False
    jobs_since: bool = False
    overlaps: Report | None = None
    is_one_day: bool = False

    @property
    def plan_is_behind(self) -> bool:
        return self.hours_since or self.jobs_since

    @property
    def since_words(self) -> str:
        parts = []
        if self.hours_since:
            parts.append("hours logged since")
        if self.jobs_since:
            parts.append("jobs, estimates or windows changed since")
        return " and ".join(parts)


def look_before_issue(report: Report) -> BeforeIssue:
    """Read what the manager should know beside the button: three queries."""
    plan = live_plan(report.programme)
    kinds: set[str] = set()
    if plan is not None:
        kinds = set(
            Change.objects.filter(
                club=report.club_id, at__gt=plan.made_at, kind__in=(*MOVES_DATES, "hourentry")
            )
            .order_by()
            .values_list("kind", flat=True)
            .distinct()
        )
    overlaps = (
        Report.objects.filter(
            programme=report.programme_id,
            state=Report.State.ISSUED,
            from_date__lte=report.to_date,
            to_date__gte=report.from_date,
        )
        .only("number", "from_date", "to_date")
        .order_by("-number")
        .first()
    )
    return BeforeIssue(
        plan_as_of=plan.as_of if plan else None,
        hours_since="hourentry" in kinds,
        jobs_since=bool(kinds - {"hourentry"}),
        overlaps=overlaps,
        is_one_day=report.from_date == report.to_date,
    )


def title_to(to_date: date) -> str:
    return f"Works progress to {to_date.day} {to_date:%B %Y}"


def new_report(*, programme: Programme, by: User | None, **facts: Any) -> Report:
    """A report that is not saved: usual period and title where none are given."""
    first, last = usual_period(programme)
    to_date = facts.pop("to_date", None) or last
    from_date = facts.pop("from_date", None) or min(first, to_date)
    title = facts.pop("title", "") or title_to(to_date)
    _check_names(facts)
    return Report(
        club=programme.club,
        programme=programme,
        from_date=from_date,
        to_date=to_date,
        title=title,
        made_by=by,
        **facts,
    )


def _check_names(facts: dict[str, Any]) -> None:
    unknown = facts.keys() - _WORDED
    if unknown:
        raise TypeError(f"A report takes no {', '.join(sorted(unknown))}.")


def _check_period(report: Report) -> None:
    today = report.club.today()
    if report.to_date > today:
        raise ValidationError(
            {"to_date": f"Figures can run to today, {today.day} {today:%B %Y}, at the latest."}
        )


@transaction.atomic
def draft_report(*, programme: Programme, by: User | None, **facts: Any) -> Report:
    """A working copy. ValidationError when its period is upside down or still to come."""
    report = new_report(programme=programme, by=by, **facts)
    _check_period(report)
    return save_record(report, by=by)


def _need_draft(report: Report) -> Report:
    locked = (
        Report.objects.select_for_update().select_related("club", "programme").get(pk=report.pk)
    )
    if locked.is_issued:
        raise ValidationError(
            f"Report {locked.number} is issued and stays as it is; draft another one."
        )
    return locked


@transaction.atomic
def change_report(*, report: Report, by: User | None, **facts: Any) -> Report:
    """Change a draft's period, meeting, paper or words; its PDF is then to be made again."""
    _check_names(facts)
    draft = _need_draft(report)
    for name, value in facts.items():
        setattr(draft, name, value)
    if not draft.title:
        draft.title = title_to(draft.to_date)
    _check_period(draft)
    _forget_copy(draft)
    return save_record(draft, by=by)


@transaction.atomic
def drop_report(*, report: Report, by: User | None) -> None:
    """Throw a draft away; an issued report is kept for ever."""
    delete_record(_need_draft(report), by=by)


@transaction.atomic
def ask_decision(
    *,
    report: Report,
    question: str,
    by: User | None,
    project: Project | None = None,
    amount: Decimal | None = None,
) -> Decision:
    """Put a question to the committee; with an amount, its answer releases money to the project."""
    draft = _need_draft(report)
    if project is not None and project.programme_id != draft.programme_id:
        raise ValidationError({"project": "The project is not of this report's programme."})
    if not question.strip():
        raise ValidationError({"question": "Say what the committee is to decide."})
    last = draft.decisions.aggregate(last=Max("order"))["last"] or 0
    decision = Decision(
        club=draft.club,
        report=draft,
        order=last + 1,
        question=question.strip(),
        project=project,
        amount=amount,
    )
    _forget_copy_and_save(draft, by)
    return save_record(decision, by=by)


@transaction.atomic
def drop_decision(*, decision: Decision, by: User | None) -> None:
    """Take a question out of a draft again."""
    draft = _need_draft(decision.report)
    delete_record(decision, by=by)
    _forget_copy_and_save(draft, by)


def _forget_copy(draft: Report) -> None:
    """The working copy no longer says what the draft says."""
    draft.pdf, draft.pdf_made_at, draft.figures = None, None, None


def _forget_copy_and_save(draft: Report, by: User | None) -> None:
    if draft.pdf_made_at is not None:
        _forget_copy(draft)
        save_record(draft, by=by)


@transaction.atomic
def issue_report(*, report: Report, by: User, at: datetime | None = None) -> Report:
    """Number the report, freeze its figures and keep their fingerprint. Issued already: as it is.

    The club's row is locked, so that of two who press at once the second finds it issued and no
    number is given twice.
    """
    club = Club.objects.select_for_update().get(pk=report.club_id)
    draft = Report.objects.select_for_update().select_related("club", "programme").get(pk=report.pk)
    if draft.is_issued:
        return draft
    at = at or timezone.now()
    issued_on = timezone.localdate(at, ZoneInfo(club.time_zone))
    last = Report.objects.filter(club=club).aggregate(last=Max("number"))["last"] or 0
    figures = gather(draft, made_on=issued_on)
    figures["report"] |= {
        "number": last + 1,
        "issued_on": issued_on.isoformat(),
        "issued_by": by.initialled,
    }
    draft.number = last + 1
    draft.state = Report.State.ISSUED
    _forget_copy(draft)
    draft.figures = figures
    draft.fingerprint = fingerprint_of(figures)
    draft.issued_at, draft.issued_by = at, by
    return save_record(draft, by=by)


def figures_of(report: Report) -> dict[str, Any]:
    """The frozen figures of an issued report; of a draft, the figures as they are now.

    ValidationError when frozen figures no longer have the fingerprint they were issued with.
    """
    if not report.is_issued:
        return gather(report, made_on=report.club.today())
    figures: dict[str, Any] = report.figures or {}
    if fingerprint_of(figures) != report.fingerprint:
        raise ValidationError(
            f"The figures of report {report.number} are not those it was issued with: their "
            "fingerprint differs. Look at the backups before using it."
        )
    return figures


def render_report(*, report: Report, by: User | None, tell: Tell | None = None) -> bytes:
    """The report as PDF, kept on its row. An issued one that has its PDF hands that out.

    Raises ReportError when it cannot be drawn. Not to be called inside a transaction: it takes seconds.
    """
    if report.is_issued and report.pdf:
        return bytes(report.pdf)
    say = tell or (lambda percent, words: None)
    say(5, "Reading the programme" if not report.is_issued else "Reading the frozen figures")
    figures = figures_of(report)
    say(35, "Drawing map, chart and long section; setting the pages")
    pdf = render_pdf(figures)
    say(95, "Keeping the PDF")
    _keep_pdf(report, pdf, figures, was_issued=report.is_issued, by=by)
    return pdf


@transaction.atomic
def _keep_pdf(
    report: Report, pdf: bytes, figures: dict[str, Any], *, was_issued: bool, by: User | None
) -> None:
    """Keep a PDF, unless the report was issued while a working copy of it was being drawn.

    A draft keeps the figures of its working copy beside it, so that the page shows the same.
    """
    row = Report.objects.select_for_update().filter(pk=report.pk).first()
    if row is None or row.is_issued != was_issued or (row.is_issued and row.pdf):
        return
    row.pdf, row.pdf_made_at = pdf, timezone.now()
    if not was_issued:
        row.figures = figures
    save_record(row, by=by)


@transaction.atomic
def answer_decision(
    *, decision: Decision, answer: str, by: User, words: str = "", at: datetime | None = None
) -> Decision:
    """The committee's answer, given once, with name and time. Agreed money goes to the project.

    ValidationError when it is answered already, its report is not issued, or the answer is none.
    """
    row = (
        Decision.objects.select_for_update(of=("self",))
        .select_related("report", "club")
        .get(pk=decision.pk)
    )
    if not row.report.is_issued:
        raise ValidationError("Its report is not issued yet, so nothing is asked.")
    if row.answer != Decision.Answer.OPEN:
        raise ValidationError(
            f"Answered already: {row.get_answer_display()}. An answer stands; a new question can "
            "be put in the next report."
        )
    if answer not in Decision.Answer.values or answer == Decision.Answer.OPEN:
        raise ValidationError({"answer": "Agreed, held over or refused is expected."})
    row.answer, row.words = answer, words.strip()
    row.answered_at, row.answered_by = at or timezone.now(), by
    save_record(row, by=by)
    if answer == Decision.Answer.AGREED and row.amount and row.project_id:
        project = Project.objects.select_for_update().get(pk=row.project_id)
        approve_project(
            project=project,
            amount=project.approved + row.amount,
            approved_on=timezone.localdate(row.answered_at, ZoneInfo(row.club.time_zone)),
            by=by,
        )
    return row
