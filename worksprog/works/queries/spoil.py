"""The earth of one winter: who feeds whom, what is left, what it does to the estimates' carting."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

import numpy as np
from shapely.geometry import LineString

from worksprog.calc.build_up import to_penny
from worksprog.calc.earth_balance import (
    Balance,
    Matter,
    balance_earth,
    haulage,
    lorry_loads,
)
from worksprog.calc.ground import profile_along
from worksprog.calc.haul_way import HaulWay, steepest
from worksprog.calc.soils import SOILS
from worksprog.calc.working import Step, Working
from worksprog.clubs.models import Club
from worksprog.course.models import Feature
from worksprog.course.queries import live_ground
from worksprog.works.bridge_earth import (
    cuts_and_fills,
    place_of,
    where_wheels_go,
    winter_of,
)
from worksprog.works.models import (
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    Programme,
)
from worksprog.works.queries.programme import dates_of_items
from worksprog.works.queries.spoil_carting import Rates, carting_of, delivered_of, pays_to, rates_of
from worksprog.works.queries.spoil_parts import (
    LEAST_SHOWN_M3,
    EarthItem,
    ShownMove,
    SpoilSheet,
    SpoilWish,
    WinterRow,
    between_items,
    letter_of,
)


def _gathered(programme: Programme, wish: SpoilWish) -> tuple[list[EarthItem], list[Feature]]:
    """Every item of the programme with earth in its estimate, and the course's features."""
    dates = dates_of_items(programme)
    estimates = [
        one
        for one in Estimate.objects.filter(item__phase__project__programme=programme, is_live=True)
        .exclude(item__state=ItemState.SHELVED)
        .select_related("item__phase__project")
        .defer("working", "measured")
        .order_by("item__phase__project__priority", "item__phase__order", "item__order", "item_id")
        if one.earth
    ]
    features = list(
        Feature.objects.filter(club=programme.club).only("id", "kind", "state", "geometry")
    )
    known = {feature.pk: feature for feature in features}
    on: dict[int, list[Feature]] = defaultdict(list)
    through = Item.features.through.objects.filter(item__in=[one.item_id for one in estimates])
    for item_id, feature_id in through.values_list("item_id", "feature_id"):
        if feature_id in known:
            on[item_id].append(known[feature_id])
    found = []
    for estimate in estimates:
        starts, ends, dates_from = dates.get(estimate.item_id, (None, None, ""))
        cuts, fills = cuts_and_fills(
            estimate,
            starts=starts,
            ends=ends,
            ground=wish.soil,
            spread_share=wish.spread_share,
        )
        found.append(
            EarthItem(
                item=estimate.item,
                estimate=estimate,
                winter=winter_of(starts) if starts else None,
                starts=starts,
                ends=ends,
                dates_from=dates_from,
                place=place_of(estimate.item.kind, on[estimate.item_id]),
                cuts=tuple(cuts),
                fills=tuple(fills),
            )
        )
    return found, features


def _winters(items: Iterable[EarthItem]) -> list[WinterRow]:
    by_winter: dict[int | None, list[EarthItem]] = defaultdict(list)
    for one in items:
        by_winter[one.winter].append(one)
    return [
        WinterRow(
            winter,
            sum(one.cut_m3 for one in by_winter[winter]),
            sum(one.fill_m3 for one in by_winter[winter]),
            len(by_winter[winter]),
            any(one.cuts for one in by_winter[winter] if not one.is_settled)
            and any(one.fills for one in by_winter[winter] if not one.is_settled),
        )
        for winter in sorted(by_winter, key=lambda one: (one is None, one or 0))
    ]


def winter_to_open(winters: Sequence[WinterRow], today: date) -> int | None:
    """The first winter from today on in which earth is both dug and filled; else with any earth."""
    now = winter_of(today)
    ahead = [row for row in winters if row.winter is not None and row.winter >= now]
    for row in ahead:
        if row.has_both:
            return row.winter
    return ahead[0].winter if ahead else (winters[-1].winter if winters else None)


def _ways(
    cuts: Mapping[str, EarthItem], fills: Mapping[str, EarthItem], features: Sequence[Feature]
) -> tuple[dict[tuple[str, str], HaulWay], list[str]]:
    """The way from every cut to every fill of its own kind, and what is to be said of them."""
    ways: dict[tuple[str, str], HaulWay] = {}
    told: list[str] = []
    placed = {key: one for key, one in cuts.items() if one.place is not None}
    for one in {one.item.pk: one for one in (*cuts.values(), *fills.values())}.values():
        if one.place is None:
            told.append(f"{one.item.name} is on no feature, so nobody knows where its earth lies.")
    if not placed or not any(one.place for one in fills.values()):
        return ways, told
    grid = where_wheels_go(features)
    for fill_key, taker in fills.items():
        if taker.place is None:
            continue
        starts = [one.place for one in placed.values() if one.place is not None]
        for cut_key, way in zip(placed, grid.ways_to(taker.place, starts), strict=True):
            ways[(cut_key, fill_key)] = way
    return ways, told


def spoil_sheet(
    programme: Programme,
    wish: SpoilWish,
    *,
    winter: int | None = None,
    of_item: Item | None = None,
    today: date,
) -> SpoilSheet:
    """The balance of one winter: the one asked for, that of an item, or the next with both.

    About ten queries, however many items there are.
    """
    everything, features = _gathered(programme, wish)
    winters = _winters(everything)
    known = {row.winter for row in winters}
    chosen = winter if winter in known else winter_to_open(winters, today)
    if of_item is not None:
        chosen = next((one.winter for one in everything if one.item.pk == of_item.pk), chosen)
    items = [one for one in everything if one.winter == chosen]
    active = [one for one in items if not one.is_settled]
    givers = {cut.key: one for one in active for cut in one.cuts}
    takers = {fill.key: one for one in active for fill in one.fills}
    cuts = [cut for one in active for cut in one.cuts]
    fills = [fill for one in active for fill in one.fills]
    ways, told = _ways(
        {cut.key: givers[cut.key] for cut in cuts if cut.matter is not Matter.UNSUITABLE},
        takers,
        features,
    )
    # The club's own price book sells topsoil by the tonne; what is brought in is weighed as such.
    balance = balance_earth(
        cuts,
        fills,
        {pair: way.length_m for pair, way in ways.items()},
        longest_haul_m=wish.longest_haul_m,
        brought_soils={Matter.SUBSOIL: SOILS["topsoil"]},
    )
    rates = rates_of(programme.club)
    moves = _shown_moves(balance, givers, takers, ways, wish, rates, programme.club)
    lines = list(
        EstimateLine.objects.filter(estimate__in=[one.estimate.pk for one in items])
        .select_related("price")
        .defer("working")
    )
    told += _out_of_reach(balance)
    told += [
        f"No open way was found for {one.letter}; its haul is the straight line."
        for one in moves
        if not one.way.is_round
    ]
    return SpoilSheet(
        programme=programme,
        wish=wish,
        winter=chosen,
        winters=tuple(winters),
        items=tuple(items),
        balance=balance,
        moves=tuple(moves),
        within=tuple(one for one in balance.moves if not between_items(one)),
        carting=tuple(carting_of(active, lines, balance, moves, rates)),
        delivered=tuple(delivered_of(lines)),
        away_loads=lorry_loads(
            (one.away_loose_m3.likely, one.cut.soil) for one in balance.left if one.away_m3 > 0
        ),
        brought_loads=lorry_loads((one.loose_m3.likely, one.soil) for one in balance.brought),
        pays_to_m=pays_to(wish, rates),
        features=tuple(features),
        told=tuple(dict.fromkeys(told)),
        lacking_prices=rates.lacking,
        price_source=rates.source,
        workings=tuple(_workings(balance, moves)),
    )


def _out_of_reach(balance: Balance) -> list[str]:
    """Of each fill that earth is brought in for: the cuts with earth left that cannot feed it."""
    left = {one.cut.key for one in balance.left if one.bank_m3 >= LEAST_SHOWN_M3}
    told = []
    for need in balance.brought:
        why = [
            f"{one.cut.name} {one.why}"
            for one in balance.barred
            if one.fill.key == need.fill.key and one.cut.key in left
        ]
        if why and need.firm_m3 >= LEAST_SHOWN_M3:
            told.append(
                f"{need.fill.name} still takes {need.firm_m3:,.0f} m³ firm. Earth is left on the "
                f"course that cannot go there: {'; '.join(why)}."
            )
    return told


def _shown_moves(
    balance: Balance,
    givers: Mapping[str, EarthItem],
    takers: Mapping[str, EarthItem],
    ways: Mapping[tuple[str, str], HaulWay],
    wish: SpoilWish,
    rates: Rates,
    club: Club,
) -> list[ShownMove]:
    hauled = [move for move in balance.moves if between_items(move)]
    ground = live_ground(club) if hauled else None
    shown = []
    for place, move in enumerate(hauled):
        way = ways[(move.cut.key, move.fill.key)]
        work = haulage(
            loose_m3=move.loose_m3.likely,
            soil=move.cut.soil,
            haul_m=move.haul_m,
            carrier=wish.carries,
        )
        steep = None
        if ground is not None and way.length_m > 0:
            profile = profile_along(ground, LineString(way.points), step_m=5.0)
            steep = steepest(np.asarray(profile.chainage_m), np.asarray(profile.level_m))
        taker = takers[move.fill.key]
        shown.append(
            ShownMove(
                letter=letter_of(place),
                move=move,
                giver=givers[move.cut.key],
                taker=taker,
                way=way,
                work=work,
                least_loads=int(np.ceil(move.loose_m3.low / work.load_m3 - 1e-9)),
                most_loads=int(np.ceil(move.loose_m3.high / work.load_m3 - 1e-9)),
                steepest=steep,
                money=to_penny(Decimal(str(round(work.hours, 6))) * rates.hour(taker.item)),
            )
        )
    return shown


def _workings(balance: Balance, moves: Sequence[ShownMove]) -> list[Working]:
    """The sums of each kind of earth, then each move: volumes, way, loads and hours."""
    told = {one.matter for one in balance.cuts} | {one.matter for one in balance.fills}
    found = [balance.working(matter) for matter in Matter if matter in told]
    for one in moves:
        soil = one.move.cut.soil
        b = soil.loose_per_bank
        steps = (
            Step("x", "moved, in the bank", one.move.bank_m3, "m³", "by the transport problem"),
            Step("b", f"loose m³ from one in the bank, {soil.name}", b.likely, "", "", soil.source),
            Step("c", "firm m³ from one in the bank", soil.compacted_per_bank, "", "", soil.source),
            Step("xf", "makes, firm", one.move.firm_m3, "m³", "x c"),
            *one.work.working.steps,
            Step("", "loads, low to high", f"{one.least_loads} to {one.most_loads}", "no",
                 f"b {b.low:g} to {b.high:g}"),
        )  # fmt: skip
        title = f"{one.letter}: {one.move.cut.name} to {one.move.fill.name}"
        found.append(Working(title, steps))
    return found
