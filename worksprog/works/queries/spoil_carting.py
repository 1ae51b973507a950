"""Carting, lorries and bought soil of the spoil balance beside those of the estimates."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from worksprog.calc.build_up import to_penny
from worksprog.calc.earth_balance import (
    LORRY,
    Balance,
    Brought,
    Left,
    Matter,
    haul_that_pays_m,
    lorry_loads,
)
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.soils import DENSITIES, SOILS, Density, volume_m3
from worksprog.clubs.models import Club
from worksprog.works.models import (
    Category,
    EstimateLine,
    Item,
    OutputRate,
    Price,
)
from worksprog.works.queries.spoil_parts import (
    NOTHING,
    Carting,
    Delivered,
    EarthItem,
    ShownMove,
    SpoilWish,
    between_items,
    item_key,
)

CART_RATE = "cart_spoil"
HIRE = "plant-tractor_trailer"
DRIVER, CONTRACTOR_DRIVER = "labour-crew", "labour-contractor"
AWAY = "haulage-spoil_load"
BROUGHT_FILL, BROUGHT_TOPSOIL = "soil-fill", "soil-topsoil"  # topsoil where no fill is priced
BROUGHT_WASTE = 0.10  # lost on the way and over-ordered, as the recipes usually allow
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
class Rates:
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


def rates_of(club: Club) -> Rates:
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
    return Rates(
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


def _loads(count: int, of: str = "") -> str:
    return f"{count} {of}load" if count == 1 else f"{count} {of}loads"


def _is_carting(line: EstimateLine) -> bool:
    """Lines that move earth about, off the course or onto it, by what they are priced and paced by."""
    code = line.price.code if line.price is not None else ""
    return line.output_code == CART_RATE or code in (AWAY, BROUGHT_FILL, BROUGHT_TOPSOIL)


def carting_of(
    items: Sequence[EarthItem],
    lines: Sequence[EstimateLine],
    balance: Balance,
    moves: Sequence[ShownMove],
    rates: Rates,
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
    for rest in balance.left:
        left[item_key(rest.cut.key)].append(rest)
    brought: dict[int, list[Brought]] = defaultdict(list)
    for need in balance.brought:
        brought[item_key(need.fill.key)].append(need)
    found = []
    for one in items:
        hours, money = 0.0, NOTHING
        parts = []
        own_m3 = sum(
            move.bank_m3
            for move in balance.moves
            if not between_items(move) and item_key(move.cut.key) == one.item.pk
        )
        if own_m3:
            parts.append(f"{own_m3:,.0f} m³ dug and filled within it")
        hour = rates.hour(one.item)
        for move in moves:
            if move.taker.item.pk == one.item.pk:
                hours += move.work.hours
                money += move.money
                parts.append(f"{_loads(move.work.loads)} of {move.letter}")
        spread = sum(part.spread_loose_m3.likely for part in left[one.item.pk])
        if spread > 0 and rates.spread_m3_h:
            spent = spread / rates.spread_m3_h
            hours += spent
            money += to_penny(Decimal(str(round(spent, 6))) * hour)
            parts.append(f"{spread:,.0f} m³ loose spread beside the work")
        off = lorry_loads((part.away_loose_m3.likely, part.cut.soil) for part in left[one.item.pk])
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


def delivered_of(lines: Iterable[EstimateLine]) -> list[Delivered]:
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


def pays_to(wish: SpoilWish, rates: Rates) -> float | None:
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
