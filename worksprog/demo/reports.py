"""The committee's paper for the demonstration's day: drafted, asked, issued."""

from __future__ import annotations

from datetime import date, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

from worksprog.clubs.models import User
from worksprog.demo.programme import FROZEN_DAY
from worksprog.reports.models import Report
from worksprog.reports.services import ask_decision, draft_report, issue_report
from worksprog.works.models import Programme

ISSUED_AT = datetime.combine(FROZEN_DAY, time(17, 10), tzinfo=ZoneInfo("Europe/London"))
OPENING = (
    "The Brook carrier is laid to C2 and carries water. The reach to C3 is on site and should close "
    "before the ground goes; the laterals on 7 have missed this autumn's window and now wait for "
    "August. The oak and ash behind 6 green are two thirds thinned."
)


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
    ask_decision(
        report=report,
        question=(
            "Release £11,400 for the upper carrier, holes 9 and 10, or hold it to winter 28/29. If it "
            "is held, 9 approach stays wet one more winter; nothing built this winter is overloaded by it."
        ),
        project=upper,
        amount=Decimal("11400"),
        by=by,
    )
    ask_decision(
        report=report,
        question="Agree that hole 7 plays to a temporary green from 16 August to 6 September 2027.",
        by=by,
    )
    return issue_report(report=report, by=by, at=ISSUED_AT)
