"""The three costs that a reader meets for one piece of work, and how one leads to the next."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from worksprog.calc.cost_years import Parts, add_parts
from worksprog.clubs.templatetags.figures import fig
from worksprog.reports.gathering.facts import Facts
from worksprog.works.models import Item, Project
from worksprog.works.queries.years import years_sheet


class Costs:
    """The costs by year of every job of the facts' programme, read once."""

    def __init__(self, facts: Facts) -> None:
        self._facts = facts
        facts.programme.club = facts.club
        self._parts = years_sheet(facts.programme).cost.by_item()

    def of_project(self, project: Project) -> str:
        return self._words(project.name, self._facts.items_of(project))

    def of_programme(self) -> str:
        return self._words("The programme", self._facts.items)

    def _words(self, name: str, items: Iterable[Item]) -> str:
        """One sentence; "" where nothing is estimated."""
        own = list(items)
        parts = add_parts(self._parts.get(item.pk, Parts()) for item in own)
        if not parts.base:
            return ""
        sign, facts = self._facts.club.currency_sign, self._facts
        forecast = sum((facts.progress[item.pk].forecast_money for item in own), 0.0)

        def money(amount: Decimal | float) -> str:
            return f"{sign}{fig(amount)}"

        return (
            f"{name}, three costs that differ by what they hold: {money(parts.base)} is the likely "
            f"estimate, wages in it; {money(parts.cost)} is that with {money(parts.design_allowance)} "
            f"design allowance, {money(parts.contingency)} contingency, {money(parts.escalation)} "
            f"escalation and {money(parts.tax_kept)} {facts.club.tax_name} that does not come back "
            f"(costs by financial year); {money(forecast)} is the forecast, which takes what is spent "
            "and worked so far and the likely estimate of the rest, with none of these added."
        )
