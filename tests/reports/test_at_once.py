"""Two presses, two managers, two committee members at the same moment."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError

from tests.cast import make_cast
from tests.hours.test_at_once import at_once
from tests.reports.conftest import Works, build_works
from worksprog.reports.models import Report
from worksprog.reports.services import (
    answer_decision,
    ask_decision,
    draft_report,
    issue_report,
)
from worksprog.works.models import Project

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shared() -> Works:
    return build_works(make_cast())


def test_presses_at_once_issue_once_and_number_without_gap(shared: Works) -> None:
    by = shared.cast.manager
    first, second = (draft_report(programme=shared.programme, by=by) for _ in range(2))
    results = at_once([lambda: issue_report(report=first, by=by)] * 3
                      + [lambda: issue_report(report=second, by=by)] * 3)  # fmt: skip
    assert not [one for one in results if isinstance(one, Exception)]
    assert len({one.number for one in results[:3]}) == 1
    assert sorted(row.number or 0 for row in Report.objects.all()) == [1, 2]


def test_two_answers_at_once_release_the_money_once(shared: Works) -> None:
    by = shared.cast.manager
    draft = draft_report(programme=shared.programme, by=by)
    decision = ask_decision(
        report=draft, question="Release it?", project=shared.drain, amount=Decimal(100), by=by
    )
    issue_report(report=draft, by=by)
    before = Project.objects.get(pk=shared.drain.pk).approved
    results = at_once(
        [lambda: answer_decision(decision=decision, answer="agreed", by=shared.cast.committee)] * 4
    )
    assert sum(isinstance(one, ValidationError) for one in results) == 3
    assert Project.objects.get(pk=shared.drain.pk).approved == before + 100
