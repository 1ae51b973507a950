"""The earth of one winter: who feeds whom, what is left, what it does to the estimates' carting."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

import numpy as np
from shapely.geometry import LineString

from worksprog.calc.build_up import to_penny
from worksprog.calc.earth_balance import (
    CARRIERS,
    LORRY,
    Balance,
    Brought,
    Carrier,
    Cut,
    Fill,
    Haulage,
    Left,
    Matter,
    Move,
    balance_earth,
    haul_that_pays_m,
    haulage,
    lorry_loads,
)
from worksprog.calc.ground import profile_along
from worksprog.calc.haul_way import HaulWay, steepest
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.soils import DENSITIES, SOILS, Density, Soil, volume_m3
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
    Category,
    Estimate,
    EstimateLine,
    Item,
    ItemState,
    OutputRate,
    Price,
    Programme,
)
from worksprog.works.queries.programme import dates_of_items

CART_RATE = "cart_spoil"
HIRE = "plant-tractor_trailer"
DRIVER, CONTRACTOR_DRIVER = "labour-crew", "labour-contractor"
AWAY = "haulage-spoil_load"
BROUGHT_FILL, BROUGHT_TOPSOIL = "soil-fill", "soil-topsoil"  # topsoil where no fill is priced
LEAST_SHOWN_M3 = 0.05
BROUGHT_WASTE = 0.10  # lost on the way and over-ordered, as the recipes usually allow
SETTLED = (ItemState.DONE, ItemState.GROWING_IN)
NOTHING = Decimal("0.00")
# Which density a delivered material goes by, from the start of its code.
DENSITY_BY_CODE = (
    ("stone-single_size", "stone"),
    ("stone-drainage_gravel", "gravel"),
    ("stone-sub_base", "sub_base"),
    ("stone-path_surface", "path_surface"),
    ("stone-riprap", "riprap"),
    ("stone-", "stone"),
    ("sand-", "sand"),
    ("soil-rootzone", "rootzone"),
    ("soil-", "topsoil"),
)
LORRY_T = LORRY.payload_t


@dataclass(frozen=True)
class SpoilWish:
    """What a reader may set: the kind of ground, what carries, how far, what becomes of the rest."""

    ground: str = "clay"
    carrier: str = "trailer"
    longest_haul_m: float | None = None
    spread_share: float | None = None  # None: as each estimate says

    @property
    def soil(self) -> Soil:
        return SOILS[self.ground]

    @property
    def carries(self) -> Carrier:
        return CARRIERS[self.carrier]


@dataclass(frozen=True)
class WinterRow:
    """One winter of the programme, in the bank and in place."""

    winter: int | None
    cut_m3: float
    fill_m3: float
    items: int
    has_both: bool  # works still to come dig and fill in it


@dataclass(frozen=True)
class EarthItem:
    """An item that digs or fills, with its dates and place."""

    item: Item
    estimate: Estimate
    winter: int | None
    starts: date | None
    ends: date | None
    dates_from: str
    place: tuple[float, float] | None
    cuts: tuple[Cut, ...]
    fills: tuple[Fill, ...]

    @property
    def is_settled(self) -> bool:
        """Finished: its earth is where it is."""
        return self.item.state in SETTLED

    @property
    def cut_m3(self) -> float:
        return sum(one.bank_m3 for one in self.cuts)

    @property
    def fill_m3(self) -> float:
        return sum(one.firm_m3 for one in self.fills)


@dataclass(frozen=True)
class ShownMove:
    """A move with its way over the course, its loads and what it costs."""

    letter: str
    move: Move
    giver: EarthItem
    taker: EarthItem
    way: HaulWay
    work: Haulage
    least_loads: int
    most_loads: int
    steepest: float | None
    money: Decimal


@dataclass(frozen=True)
class Carting:
    """Carting of one item, as its estimate has it and as the balance has it."""

    item: Item
    approved: bool
    estimate_h: float
    estimate_money: Decimal
    balance_h: float
    balance_money: Decimal
    parts: tuple[str, ...]

    @property
    def more_h(self) -> float:
        return self.balance_h - self.estimate_h

    @property
    def more_money(self) -> Decimal:
        return self.balance_money - self.estimate_money


@dataclass(frozen=True)
class Delivered:
    """Stone, sand or soil bought for one winter's items."""

    name: str
    tonnes: ThreePoint
    volume: ThreePoint | None
    density: Density | None
    loads: int


@dataclass(frozen=True)
class SpoilSheet:
    """Everything the page shows of one winter."""

    programme: Programme
    wish: SpoilWish
    winter: int | None
    winters: tuple[WinterRow, ...]
    items: tuple[EarthItem, ...]
    balance: Balance
    moves: tuple[ShownMove, ...]
    within: tuple[Move, ...]  # what a work digs and fills itself, by its own machine
    carting: tuple[Carting, ...]
    delivered: tuple[Delivered, ...]
    away_loads: int
    brought_loads: int
    pays_to_m: float | None
    features: tuple[Feature, ...]
    told: tuple[str, ...]
    lacking_prices: tuple[str, ...]
    price_source: str = ""
    workings: tuple[Working, ...] = field(default_factory=tuple)

    @property
    def open_items(self) -> list[EarthItem]:
        return [one for one in self.items if not one.is_settled]

    @property
    def more_h(self) -> float:
        return sum(one.more_h for one in self.carting)

    @property
    def more_money(self) -> Decimal:
        return sum((one.more_money for one in self.carting), NOTHING)


@dataclass(frozen=True)
class _Rates:
    """What carting costs by the club's price book, likely figures."""

    hire: Decimal
    driver: Decimal
    contractor: Decimal
    away: Decimal
    fill: Decimal
    topsoil: Decimal
    spread_m3_h: float
    lacking: tuple[str, ...]
    source: str

    def hour(self, item: Item) -> Decimal:
        return self.hire + (self.contractor if item.by_contractor else self.driver)


def _rates(club: Club) -> _Rates:
    codes = (HIRE, DRIVER, CONTRACTOR_DRIVER, AWAY, BROUGHT_TOPSOIL)
    prices = {
        row.code: row for row in Price.objects.filter(club=club, code__in=(*codes, BROUGHT_FILL))
    }
    output = OutputRate.objects.filter(club=club, code=CART_RATE).first()
    lacking = [code for code in codes if code not in prices]
    if output is None:
        lacking.append(CART_RATE)

    def likely(code: str) -> Decimal:
        return prices[code].likely if code in prices else NOTHING

    told = [f"{row.name} {row.likely} per {row.unit}" for row in prices.values()]
    return _Rates(
        hire=likely(HIRE),
        driver=likely(DRIVER),
        contractor=likely(CONTRACTOR_DRIVER),
        away=likely(AWAY),
        fill=likely(BROUGHT_FILL if BROUGHT_FILL in prices else BROUGHT_TOPSOIL),
        topsoil=likely(BROUGHT_TOPSOIL),
        spread_m3_h=float(output.likely) if output else 0.0,
        lacking=tuple(lacking),
        source="; ".join(told),
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
    rates = _rates(programme.club)
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
        within=tuple(one for one in balance.moves if not _between_items(one)),
        carting=tuple(_carting(active, lines, balance, moves, rates)),
        delivered=tuple(_delivered(lines)),
        away_loads=lorry_loads(
            (one.away_loose_m3.likely, one.cut.soil) for one in balance.left if one.away_m3 > 0
        ),
        brought_loads=lorry_loads((one.loose_m3.likely, one.soil) for one in balance.brought),
        pays_to_m=_pays_to(wish, rates),
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
    rates: _Rates,
    club: Club,
) -> list[ShownMove]:
    hauled = [move for move in balance.moves if _between_items(move)]
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


def _item_key(key: str) -> int:
    """The item of a cut or a fill."""
    return int(key.split(":")[0])


def _between_items(move: Move) -> bool:
    return _item_key(move.cut.key) != _item_key(move.fill.key)


def letter_of(place: int) -> str:
    """A, B, … Z, AA, AB, …"""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _loads(count: int, of: str = "") -> str:
    return f"{count} {of}load" if count == 1 else f"{count} {of}loads"


def _is_carting(line: EstimateLine) -> bool:
    """Lines that move earth about, off the course or onto it, by what they are priced and paced by."""
    code = line.price.code if line.price is not None else ""
    return line.output_code == CART_RATE or code in (AWAY, BROUGHT_FILL, BROUGHT_TOPSOIL)


def _carting(
    items: Sequence[EarthItem],
    lines: Sequence[EstimateLine],
    balance: Balance,
    moves: Sequence[ShownMove],
    rates: _Rates,
) -> list[Carting]:
    """Item by item, the carting its estimate has beside the carting of the balance.

    The balance: what is hauled is the filling item's, by load and distance; what is spread is the
    digging item's, at the same output as in its estimate; lorry loads and brought-in soil likewise.
    """
    by_item: dict[int, list[EstimateLine]] = defaultdict(list)
    item_of = {one.estimate.pk: one.item.pk for one in items}
    for line in lines:
        if line.estimate_id in item_of and _is_carting(line):
            by_item[item_of[line.estimate_id]].append(line)
    left: dict[int, list[Left]] = defaultdict(list)
    for one in balance.left:
        left[_item_key(one.cut.key)].append(one)
    brought: dict[int, list[Brought]] = defaultdict(list)
    for need in balance.brought:
        brought[_item_key(need.fill.key)].append(need)
    found = []
    for one in items:
        hours, money = 0.0, NOTHING
        parts = []
        own_m3 = sum(
            move.bank_m3
            for move in balance.moves
            if not _between_items(move) and _item_key(move.cut.key) == one.item.pk
        )
        if own_m3:
            parts.append(f"{own_m3:,.0f} m³ dug and filled within it")
        hour = rates.hour(one.item)
        for move in moves:
            if move.taker.item.pk == one.item.pk:
                hours += move.work.hours
                money += move.money
                parts.append(f"{_loads(move.work.loads)} of {move.letter}")
        spread = sum(rest.spread_loose_m3.likely for rest in left[one.item.pk])
        if spread > 0 and rates.spread_m3_h:
            spent = spread / rates.spread_m3_h
            hours += spent
            money += to_penny(Decimal(str(round(spent, 6))) * hour)
            parts.append(f"{spread:,.0f} m³ loose spread beside the work")
        off = lorry_loads((rest.away_loose_m3.likely, rest.cut.soil) for rest in left[one.item.pk])
        if off:
            money += to_penny(off * rates.away)
            parts.append(f"{_loads(off, 'lorry ')} off the course")
        for need in brought[one.item.pk]:
            tonnes = need.mass_t * (1 + BROUGHT_WASTE)
            price = rates.topsoil if need.fill.matter is Matter.TOPSOIL else rates.fill
            money += to_penny(Decimal(str(round(tonnes, 6))) * price)
            parts.append(f"{tonnes:,.0f} t of {need.fill.matter} brought in")
        own = by_item[one.item.pk]
        found.append(
            Carting(
                item=one.item,
                approved=one.estimate.approved_on is not None,
                estimate_h=sum(
                    line.quantity_likely
                    for line in own
                    if line.output_code == CART_RATE and line.category == Category.HAULAGE
                ),
                estimate_money=sum((line.amount_likely for line in own), NOTHING),
                balance_h=hours,
                balance_money=money,
                parts=tuple(parts),
            )
        )
    return found


def _density_of(code: str) -> Density | None:
    for start, name in DENSITY_BY_CODE:
        if code.startswith(start):
            return DENSITIES[name]
    return None


def _delivered(lines: Iterable[EstimateLine]) -> list[Delivered]:
    """What is bought by the tonne, added up over the winter's items."""
    tonnes: dict[str, ThreePoint] = {}
    named: dict[str, str] = {}
    for line in lines:
        if line.category != Category.MATERIAL or line.unit != "t":
            continue
        code = line.price.code if line.price is not None else line.description
        named[code] = line.price.name if line.price is not None else line.description
        quantity = ThreePoint(line.quantity_low, line.quantity_likely, line.quantity_high)
        tonnes[code] = tonnes.get(code, ThreePoint.exactly(0.0)).plus(quantity)
    found = []
    for code, mass in sorted(tonnes.items(), key=lambda pair: -pair[1].likely):
        density = _density_of(code)
        volume = None
        if density is not None:
            volume = ThreePoint(
                mass.low / density.t_m3.high,
                volume_m3(mass_t=mass.likely, density=density).likely,
                mass.high / density.t_m3.low,
            )
        loads = int(np.ceil(mass.likely / LORRY_T - 1e-9))
        found.append(Delivered(named[code], mass, volume, density, loads))
    return found


def _pays_to(wish: SpoilWish, rates: _Rates) -> float | None:
    """How far a haul on the course is cheaper than topsoil brought in and the clay spread here."""
    hour = float(rates.hire + rates.driver)
    if not hour or not rates.fill:
        return None
    soil = wish.soil
    firm_per_loose = soil.compacted_per_bank / soil.loose_per_bank.likely
    bought = SOILS["topsoil"]
    saved = firm_per_loose / bought.compacted_per_bank * bought.bank_t_m3.likely
    saved *= float(rates.fill) * (1 + BROUGHT_WASTE)
    return haul_that_pays_m(
        carrier=wish.carries, soil=soil, hour_costs=hour, saved_per_loose_m3=saved
    )


def _workings(balance: Balance, moves: Sequence[ShownMove]) -> list[Working]:
    """The sums of each kind of earth, then each move: volumes, way, loads and hours."""
    found = [
        balance.working(matter)
        for matter in Matter
        if any(one.matter is matter for one in (*balance.cuts, *balance.fills))
    ]
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
