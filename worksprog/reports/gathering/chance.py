"""What a report says of how far the programme's estimates can be trusted."""

from __future__ import annotations

from worksprog.clubs.templatetags.figures import fig
from worksprog.reports.gathering.facts import Facts
from worksprog.works.bridge_ranges import Placed, Sways
from worksprog.works.queries import dates_of_item, ranges_of, rules_of


def chance_words(facts: Facts) -> list[str]:
    """One sentence: money and crew hours that suffice by the club's chance; none without a draw."""
    placed = [
        Placed.on(
            item,
            facts.estimates[item.pk],
            item.phase,
            item.phase.project,
            dates_of_item(item, facts.planned.get(item.pk))[:2],
            facts.club.year_start_month,
        )
        for item in facts.items
        if item.pk in facts.estimates
    ]
    rules = rules_of(facts.club)
    ranges = ranges_of(facts.club, placed, sways=Sways.of(rules))
    if ranges is None:
        return []
    whole, sign = ranges.whole, facts.club.currency_sign
    chance = float(rules.contingency_chance)
    return [
        f"By chance: the estimates of the whole programme come to no more than "
        f"{sign}{fig(whole.money.within(chance))} and {fig(whole.hours.within(chance))} crew hours "
        f"in {fig(100 * chance)} of 100 cases ({ranges.sways.words}); their likely figures add up to "
        f"{sign}{fig(whole.base_money)} and {fig(whole.base_h)}, which suffice in "
        f"{fig(100 * whole.money.chance_within(float(whole.base_money)))} of 100 for the money."
    ]
