"""Fixtures and the limit of holes out of play, as a plan takes them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from worksprog.clubs.models import Club
from worksprog.planning.models import Fixture, PlayRules


@dataclass(frozen=True)
class FixtureDays:
    uuid: str
    name: str
    first: dt.date
    last: dt.date
    stops: str
    holes: frozenset[int] = frozenset()

    def stops_work(self, *, closes: bool, holes: frozenset[int]) -> bool:
        """Whether work that closes a hole, or none, on these holes makes way for it."""
        if self.stops == Fixture.Stops.HERE:
            return bool(self.holes & holes)
        return closes or self.stops == Fixture.Stops.ALL


@dataclass(frozen=True)
class Play:
    """``at_once`` and ``in_season`` holes; None where there is no limit."""

    fixtures: tuple[FixtureDays, ...] = ()
    at_once: int | None = None
    in_season: int | None = None
    season: tuple[int, int] = (4, 9)

    def limit_on(self, day: dt.date) -> int | None:
        """Holes that may be out of play; the lower of the two limits in the season.

        The season runs over New Year where its first month comes after its last.
        """
        begin, end = self.season
        after, before = day.month >= begin, day.month <= end
        within = (after and before) if begin <= end else (after or before)
        limits = [self.at_once] + ([self.in_season] if within else [])
        return min((limit for limit in limits if limit is not None), default=None)


def read_play(club: Club, today: dt.date) -> Play:
    """Two queries. Fixtures that are over are left out."""
    rows = Fixture.objects.filter(club=club, to_date__gte=today).values_list(
        "uuid", "name", "from_date", "to_date", "stops", "holes__number"
    )
    on: dict[tuple[str, str, dt.date, dt.date, str], set[int]] = {}
    for uuid, name, first, last, stops, number in rows:
        holes = on.setdefault((str(uuid), name, first, last, stops), set())
        if number is not None:
            holes.add(number)
    rules = PlayRules.objects.filter(club=club).first() or PlayRules(club=club)
    return Play(
        fixtures=tuple(FixtureDays(*facts, frozenset(holes)) for facts, holes in on.items()),
        at_once=rules.holes_at_once,
        in_season=rules.holes_in_season,
        season=(rules.season_from_month, rules.season_to_month),
    )
