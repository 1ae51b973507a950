"""The report says which rates were learnt from the crew's hours, and how the ranges held."""

from __future__ import annotations

from tests.reports.conftest import Works
from worksprog.reports.gathering import gather
from worksprog.reports.gathering.facts import read_facts
from worksprog.reports.gathering.jobs import next_rows
from worksprog.reports.models import Report
from worksprog.works.models import Item, ItemState
from worksprog.works.services import go_back_to_book, use_learnt_rate


def test_report_says_which_rates_were_learnt(works: Works, draft: Report) -> None:
    club, by = works.programme.club, works.cast.manager
    facts = read_facts(works.programme, draft.from_date, draft.to_date)
    before = {row["name"]: row["hours"] for row in next_rows(facts)}
    opened = [
        item
        for item in Item.objects.filter(club=club, state=ItemState.PROPOSED, by_contractor=False)
        if before.get(item.name)
    ]
    assert opened, "some job is to come"
    kind = opened[0].kind
    row = use_learnt_rate(
        club=club, kind=kind, factors=(0.9, 1.25, 1.7), as_of=draft.to_date, by=by,
        posterior={"crew_weight": 0.6, "narrowing": 0.8, "words": "learnt from 2 jobs"},
    )  # fmt: skip
    method = " ".join(gather(draft, made_on=draft.to_date)["method"])
    assert "1.25 of the book’s hours, 8 in 10 between 0.90 and 1.70" in method
    assert "60 % of the weight is the crew’s" in method
    facts = read_facts(works.programme, draft.from_date, draft.to_date)
    after = {one["name"]: one["hours"] for one in next_rows(facts)}
    assert abs(after[opened[0].name] - before[opened[0].name] * 1.25) < 0.11
    go_back_to_book(rate=row, by=by)
    assert "of the book’s hours" not in " ".join(gather(draft, made_on=draft.to_date)["method"])
