"""What a report says of learnt rates and of how well the ranges of estimates held."""

from __future__ import annotations

from worksprog.clubs.templatetags.figures import day, fig
from worksprog.hours.queries.calibration import accuracy
from worksprog.reports.gathering.facts import Facts
from worksprog.works.models import LearntRate
from worksprog.works.queries import learnt_in_use
from worksprog.works.recipes import recipes_of


def learnt_words(facts: Facts) -> list[str]:
    """A sentence for the learnt rates that open jobs go by, and one for the calibration."""
    opened = {item.kind for item in facts.items if not item.by_contractor and facts.share(item) < 1}
    titles = {kind: recipe.title for kind, recipe in recipes_of(facts.club).items()}
    told = [
        _rate_words(titles.get(kind, kind), row)
        for kind, row in sorted(learnt_in_use(facts.club).items())
        if kind in opened
    ]
    words = []
    if told:
        words.append(
            "Hours to come by the crew’s own rate, learnt from its logged hours, in place of the "
            f"price book’s: {'; '.join(told)}. Money of an approved estimate stays as approved."
        )
    found = accuracy(facts.club, titles)
    if found.told:
        words.append(f"How well the ranges held: {found.words}")
    return words


def _rate_words(title: str, row: LearntRate) -> str:
    weight = row.posterior.get("crew_weight")
    share = f", {fig(weight * 100)} % of the weight is the crew’s" if weight is not None else ""
    return (
        f"{title.lower()} {fig(row.factor_likely, 2)} of the book’s hours, 8 in 10 between "
        f"{fig(row.factor_low, 2)} and {fig(row.factor_high, 2)} ({day(row.as_of)}{share})"
    )
