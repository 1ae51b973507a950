"""The committee's paper for the demonstration's day: drafted, asked, issued."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import ROUND_CEILING, Decimal
from zoneinfo import ZoneInfo

from worksprog.clubs.models import User
from worksprog.demo.programme import FROZEN_DAY
from worksprog.reports.models import Report
from worksprog.reports.services import ask_decision, draft_report, issue_report
from worksprog.works.models import Programme, Project
from worksprog.works.queries import programme_sheet

ISSUED_AT = datetime.combine(FROZEN_DAY, time(17, 10), tzinfo=ZoneInfo("Europe/London"))
HUNDRED = Decimal(100)
OPENING = (
    "The Brook carrier is laid to C2 and carries water. The reach to C3 is on site and should close "
    "before the ground goes; the laterals on 7 have missed this autumn's window and now wait for "
    "August. The oak and ash behind 6 green are two thirds thinned."
)


def _suffices_in_8_of_10(project: Project) -> tuple[Decimal, Decimal]:
    """Likely money, and what the project's own page gives an 8 in 10 chance."""
    (sheet,) = programme_sheet(project.programme, projects=[project]).projects
    assert sheet.totals.money_p80 is not None, "the demonstration is drawn by chance before it asks"
    return sheet.totals.money_likely, sheet.totals.money_p80


def write_first_report(programme: Programme, by: User) -> Report:
    report = draft_report(
        programme=programme,
        title="Works progress",
        from_date=date(2026, 9, 1),
        to_date=FROZEN_DAY,
        meeting_on=date(2026, 12, 3),
        opening=OPENING,
        by=by,
    )
    upper = programme.projects.get(code="UC")
    likely, enough = _suffices_in_8_of_10(upper)
    amount = (enough / HUNDRED).to_integral_value(ROUND_CEILING) * HUNDRED
    ask_decision(
        report=report,
        question=(
            f"Release £{amount:,} for the upper carrier, holes 9 and 10, or hold it to winter 28/29: "
            f"by the estimates £{enough:,.0f} suffices in 8 cases of 10, which is asked for rounded up "
            f"to the next hundred; likely is £{likely:,.0f}. If it is held, 9 approach stays wet one "
            "more winter; nothing built this winter is overloaded by it."
        ),
        project=upper,
        amount=amount,
        by=by,
    )
    ask_decision(
        report=report,
        question="Agree that hole 7 plays to a temporary green from 16 August to 6 September 2027.",
        by=by,
    )
    return issue_report(report=report, by=by, at=ISSUED_AT)
