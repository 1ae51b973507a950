"""What features measure now, what moved since, and the lines of an estimate."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Case, Q, QuerySet, Value, When
from django.utils import timezone

from worksprog.calc import build_up as calc
from worksprog.calc.ground import Ground, load_ground
from worksprog.clubs.models import Club
from worksprog.course.models import Feature, GroundModel, State
from worksprog.course.queries import live_ground
from worksprog.works import bridge, measuring
from worksprog.works.measuring import Measured, Told
from worksprog.works.models import (
    Category,
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    LearntRate,
    OutputRate,
    Price,
)
from worksprog.works.recipes import recipe_of

NOTHING = Decimal("0.00")


def price_book(club: Club) -> calc.Book:
    """The club's price book as the build-up reads it, with what was learnt. Three queries."""
    return bridge.book_of_rows(
        Price.objects.filter(club=club),
        OutputRate.objects.filter(club=club),
        LearntRate.objects.filter(club=club, in_use=True, ground="", crew=""),
    )


def measure_items(items: Sequence[Item]) -> dict[int, Measured]:
    """What the features of items of one club tell now, by the item's key.

    One query and the ground where it is needed, however many items there are.
    """
    if not items:
        return {}
    club = items[0].club
    through = Item.features.through.objects.filter(item__in=[item.pk for item in items])
    rows = through.select_related("feature__reach", "feature__layout", "feature__node")
    features: dict[int, Feature] = {}
    on: dict[int, list[Feature]] = {item.pk: [] for item in items}
    for row in rows.order_by("feature_id"):
        on[row.item_id].append(features.setdefault(row.feature_id, row.feature))
    told = _told_of(features.values())
    recipes = {item.pk: recipe_of(club, item.kind) for item in items}
    by_ground = {pk for pk, recipe in recipes.items() if measuring.wants_ground(recipe)}
    levelled = {feature.pk: feature for pk in by_ground for feature in on[pk]}
    ground = live_ground(club) if levelled else None
    stations = measuring.stations_of(levelled.values(), told.reaches, ground)
    shaped = [item for item in items if measuring.moves_earth(recipes[item.pk])]
    before = _grounds_before(club, shaped) if ground is not None else {}
    return {
        item.pk: measuring.measure(
            recipes[item.pk],
            on[item.pk],
            told=told,
            ground=ground,
            stations=stations,
            by_hand=item.parameters,
            before=before.get(item.pk),
        )
        for item in items
    }


def _grounds_before(club: Club, items: Sequence[Item]) -> dict[int, Ground]:
    """The ground before each finished work, where the live ground was made after it. Two queries.

    Nothing is asked while none of the items is finished.
    """
    done = [
        (item.pk, item.started_on, item.finished_on)
        for item in items
        if item.started_on and item.finished_on
    ]
    if not done:
        return {}
    rows = list(GroundModel.objects.filter(club=club).values_list("pk", "made_at"))
    made = [(pk, timezone.localtime(made_at).date()) for pk, made_at in rows]
    wanted: dict[int, int] = {}
    for item_pk, started, finished in done:
        earlier = [pk for pk, day in made if day < started]
        if earlier and made[0][1] > finished:
            wanted[item_pk] = earlier[0]
    if not wanted:
        return {}
    grounds = {
        row.pk: load_ground(bytes(row.data))
        for row in GroundModel.objects.filter(pk__in=set(wanted.values())).only("data")
    }
    return {item_pk: grounds[pk] for item_pk, pk in wanted.items()}


def _told_of(features: Iterable[Feature]) -> Told:
    """The rows behind these features, which came with them."""
    told = Told()
    for feature in features:
        for name, rows in (("reach", told.reaches), ("layout", told.layouts), ("node", told.nodes)):
            row = getattr(feature, name, None)
            if row is not None:
                rows[feature.pk] = row
    return told


def measure_item(item: Item) -> Measured:
    """What the item's features tell now."""
    return measure_items([item])[item.pk]


@dataclass(frozen=True)
class Hands:
    """Who does an item: the crew alone, a contractor alone, or he the steps named."""

    by_contractor: bool = False
    contract_steps: tuple[str, ...] = ()

    @classmethod
    def of(cls, item: Item) -> Hands:
        return cls(item.by_contractor, tuple(item.contract_steps))


def work_out(
    item: Item, measured: Measured, book: calc.Book, *, hands: Hands | None = None
) -> calc.Estimate:
    """What the item comes to by these measures and this book, as it is chosen or by other hands.

    Nothing is written. Work that is finished is by the book alone: the learnt rates come from it.
    ValidationError in words when a quantity or price is missing.
    """
    if item.state in (ItemState.DONE, ItemState.GROWING_IN):
        book = replace(book, crew={})
    chosen = hands or Hands.of(item)
    recipe = recipe_of(item.club, item.kind)
    names = {measure.name for measure in recipe.measures}
    measures, parameters = dict(measured.measures), dict(measured.parameters)
    told = dict(measured.told)
    for name, value in item.parameters.items():
        (measures if name in names else parameters)[name] = value
        before = measured.measures.get(name)
        told[name] = "entered by hand" + (
            f", the features say {before:,.2f}" if before is not None else ""
        )
    try:
        return calc.build_up(
            recipe,
            measures=measures,
            parameters=parameters,
            book=book,
            told=told,
            by_contractor=chosen.by_contractor,
            contract_steps=chosen.contract_steps,
        )
    except ValueError as error:
        raise ValidationError(str(error)) from error


@dataclass(frozen=True)
class Moved:
    """One thing that differs from what an estimate was made with."""

    title: str
    what: str
    was: float | None
    now: float | None
    unit: str

    @property
    def words(self) -> str:
        if self.was is None:
            return f"{self.title}: {self.what} is new, {self.now:,.2f} {self.unit}"
        if self.now is None:
            return (
                f"{self.title}: {self.what} is no longer told, it was {self.was:,.2f} {self.unit}"
            )
        change = self.now - self.was
        return (
            f"{self.title}: {self.what} was {self.was:,.2f}, is now {self.now:,.2f} {self.unit} "
            f"({change:+,.2f})"
        )


def what_moved(estimate: Estimate, measured: Measured) -> list[Moved]:
    """What the features tell otherwise than when the estimate was made; a millimetre is nothing."""
    old = {(row["feature"], row["name"]): row for row in estimate.measured}
    new = {(row["feature"], row["name"]): row for row in measured.as_rows()}
    moved = []
    for key in [*old, *(key for key in new if key not in old)]:
        was, now = old.get(key), new.get(key)
        row = now or was
        assert row is not None
        if was and now and abs(was["value"] - now["value"]) < 1e-3:
            continue
        moved.append(
            Moved(
                row["title"],
                row["label"],
                was["value"] if was else None,
                now["value"] if now else None,
                row["unit"],
            )
        )
    return moved


def repriced_lines(lines: Iterable[EstimateLine]) -> list[EstimateLine]:
    """Lines whose price in the book is no longer the one they were worked out with."""
    return [
        line
        for line in lines
        if line.price is not None
        and not line.is_by_hand
        and (line.price.low, line.price.likely, line.price.high)
        != (line.rate_low, line.rate_likely, line.rate_high)
    ]


def stale_items(items: Sequence[Item], estimates: dict[int, Estimate]) -> set[int]:
    """Keys of items of which a feature changed, came or went since the estimate. One query.

    A change is one of shape, or of the levels and section of its reach.
    """
    now: dict[int, dict[str, str]] = defaultdict(dict)
    through = Item.features.through.objects.filter(item__in=[item.pk for item in items])
    figures = [
        *(f"feature__reach__{name}" for name in measuring.REACH_FIGURES),
        *(f"feature__layout__{name}" for name in measuring.LAYOUT_FIGURES),
        *(f"feature__node__{name}" for name in measuring.NODE_FIGURES),
    ]
    for item_id, uuid, version, *told in through.values_list(
        "item_id", "feature__uuid", "feature__version", *figures
    ):
        now[item_id][str(uuid)] = measuring.mark_of(version, *told)
    return {
        item.pk
        for item in items
        if item.pk in estimates and estimates[item.pk].feature_versions != now[item.pk]
    }


def features_for(club: Club, kind: str, *, also: Sequence[int] = ()) -> QuerySet[Feature]:
    """Features that an item of this kind may be on, and ``also`` these; without their shapes."""
    recipe = recipe_of(club, kind)
    offered = Q(kind__in=measuring.may_be_on(recipe)) & ~Q(state=State.REMOVED)
    return (
        Feature.objects.filter(offered | Q(pk__in=also), club=club)
        .defer("geometry")
        .annotate(place=Case(When(kind__in=recipe.on, then=Value(0)), default=Value(1)))
        .order_by("place", "kind", "ref", "name", "id")
    )


def lines_by_category(lines: Iterable[EstimateLine]) -> list[dict[str, Any]]:
    """The lines under their heads, each head with its sums; heads without lines are left out."""
    groups: dict[str, list[EstimateLine]] = {category: [] for category in Category.values}
    for line in lines:
        groups[line.category].append(line)
    return [
        {
            "label": Category(category).label,
            "lines": listed,
            "low": sum((line.amount_low for line in listed), NOTHING),
            "likely": sum((line.amount_likely for line in listed), NOTHING),
            "high": sum((line.amount_high for line in listed), NOTHING),
        }
        for category, listed in groups.items()
        if listed
    ]
