"""What the spoil balance of a winter is told in."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from worksprog.calc.earth_balance import (
    CARRIERS,
    Balance,
    Carrier,
    Cut,
    Fill,
    Haulage,
    Move,
)
from worksprog.calc.haul_way import HaulWay
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.soils import SOILS, Density, Soil
from worksprog.calc.working import Working
from worksprog.course.models import Feature
from worksprog.works.models import (
    Estimate,
    Item,
    ItemState,
    Programme,
)

LEAST_SHOWN_M3 = 0.05
SETTLED = (ItemState.DONE, ItemState.GROWING_IN)
NOTHING = Decimal("0.00")


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


def item_key(key: str) -> int:
    """The item of a cut or a fill."""
    return int(key.split(":")[0])


def between_items(move: Move) -> bool:
    return item_key(move.cut.key) != item_key(move.fill.key)


def letter_of(place: int) -> str:
    """A, B, … Z, AA, AB, …"""
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
