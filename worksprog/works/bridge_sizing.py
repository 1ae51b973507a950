"""The drain network and the price book as the sizing wants them, and a design back as a network."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from worksprog.calc.build_up import RECIPES, Book
from worksprog.calc.build_up.parts import Parameter
from worksprog.calc.network import NetworkCheck, Reach, ReachCheck, check_drains
from worksprog.calc.pipes import USUAL_BORES_MM, PipeSection
from worksprog.calc.sizing import (
    Costing,
    DepthBand,
    Design,
    Held,
    LowerEnd,
    PipeSize,
    SizingReach,
    Tree,
)
from worksprog.works.models import WorkKind

LevelsAt = Callable[[NDArray[np.float64]], NDArray[np.float64]]
GROUND_STEP_M = 5.0
PIPE_CODE = "pipe-twinwall-"
TRENCH_BAND = "trench-deeper-"  # and the depth in millimetres: an extra for a metre of trench
CHAMBER_BAND = "chamber-deeper-"
MOST_POINTS = 60


class CannotSize(Exception):
    """The branch cannot be sized as it is drawn; the message says why and what would help."""


@dataclass(frozen=True)
class Rate:
    """One unit rate the sizing used, and what of the price book it was made from."""

    words: str
    value: float
    unit: str
    made_of: tuple[str, ...]  # codes of the price book


@dataclass(frozen=True)
class Priced:
    costing: Costing
    rates: tuple[Rate, ...]

    @property
    def codes(self) -> frozenset[str]:
        return frozenset(code for rate in self.rates for code in rate.made_of)


def costing_of(book: Book, *, inside_share: float) -> Priced:
    """Unit rates from the likely prices and output rates, the way an estimate of a pipe has them.

    CannotSize names what the price book lacks.
    """
    usual = {one.name: _likely(one) for one in RECIPES[WorkKind.CARRIER_PIPE].parameters}
    rates: list[Rate] = []

    def price(code: str) -> float:
        return float(book.price(code, used_for="sizing of drains").amount.likely)

    def hourly(rate: str, *who: str) -> float:
        """Money for one unit done: so much an hour over so many an hour."""
        per_hour = book.rate(rate, used_for="sizing of drains").per_hour.likely
        return sum(price(code) for code in who) / per_hour

    def add(words: str, value: float, unit: str, *made_of: str) -> float:
        rates.append(Rate(words, value, unit, made_of))
        return value

    crew, digger, trailer = "labour-crew", "plant-excavator_5t", "plant-tractor_trailer"
    try:
        strip = usual["strip_m"]
        line = add(
            "set out, lay and level, make good",
            hourly("set_out_line", crew)
            + hourly("lay_carrier", crew)
            + strip * (hourly("make_good", crew) + price("seed-fairway")),
            "m", crew, "set_out_line", "lay_carrier", "make_good", "seed-fairway",
        )  # fmt: skip
        dig = add("dig the trench", hourly("dig_trench", digger, crew), "m³",
                  digger, crew, "dig_trench")  # fmt: skip
        fill = add("put back in layers", hourly("backfill", digger, crew), "m³",
                   digger, crew, "backfill")  # fmt: skip
        spoil = add(
            "take off what is left over",
            usual["bulking"] * hourly("cart_spoil", trailer, crew),
            "m³ in the bank", trailer, crew, "cart_spoil",
        )  # fmt: skip
        stone = add(
            "stone, bought and placed",
            price("stone-single_size") * usual["stone_t_m3"] * (1 + usual["stone_waste"])
            + hourly("place_stone", crew),
            "m³", "stone-single_size", crew, "place_stone",
        )  # fmt: skip
        chamber = add("chamber, bought and set",
                      price("chamber-inspection") + hourly("set_chamber", crew),
                      "each", "chamber-inspection", crew, "set_chamber")  # fmt: skip
        sizes = []
        for bore in USUAL_BORES_MM:
            code = f"{PIPE_CODE}{bore}"
            if code not in book.prices:
                continue
            money = add(f"pipe {bore} mm", price(code) * (1 + usual["pipe_waste"]), "m", code)
            sizes.append(
                PipeSize(
                    bore, bore / 1000 * inside_share, bore / 1000 * usual["outside_ratio"], money
                )
            )
        if not sizes:
            raise CannotSize("The price book has no pipe: add 'pipe-twinwall-150' and the others.")
        trench_bands = _bands(book, TRENCH_BAND, "a metre of trench deeper than", "m", rates)
        chamber_bands = _bands(book, CHAMBER_BAND, "a chamber deeper than", "each", rates)
    except ValueError as error:
        raise CannotSize(str(error)) from error
    return Priced(
        Costing(
            sizes=tuple(sizes),
            line_per_m=line,
            dig_per_m3=dig,
            fill_per_m3=fill,
            spoil_per_m3=spoil,
            stone_per_m3=stone,
            trench_margin_m=usual["trench_margin_m"],
            bed_m=usual["bed_m"],
            over_crown_m=usual["over_crown_m"],
            filled_per_m3=usual["compacted"],
            trench_bands=trench_bands,
            chamber_each=chamber,
            chamber_bands=chamber_bands,
        ),
        tuple(rates),
    )


def _likely(parameter: Parameter) -> float:
    return parameter.usual.likely


def _bands(
    book: Book, begins: str, words: str, unit: str, rates: list[Rate]
) -> tuple[DepthBand, ...]:
    found = []
    for code in sorted(book.prices):
        depth = code.removeprefix(begins)
        if not code.startswith(begins) or not depth.isdigit():
            continue
        money = float(book.prices[code].amount.likely)
        found.append(DepthBand(int(depth) / 1000, money))
        rates.append(Rate(f"extra for {words} {int(depth) / 1000:g} m", money, unit, (code,)))
    return tuple(sorted(found, key=lambda band: band.deeper_than_m))


def reaches_of(check: NetworkCheck, root_key: str) -> list[str]:
    """The reach and all above it, each once. KeyError for an unknown reach."""
    found, waiting = [], [root_key]
    check.reach(root_key)
    while waiting:
        key = waiting.pop()
        if key not in found:
            found.append(key)
            waiting += check.reach(key).above
    return found


def tree_of(
    check: NetworkCheck, root_key: str, levels_at: LevelsAt | None, *, open_keys: frozenset[str]
) -> Tree:
    """A reach and all above it as a tree; ``open_keys`` are sized, all others stay as they are.

    CannotSize when that cannot be.
    """
    keys = reaches_of(check, root_key)
    inside = set(keys)
    reaches = []
    for key in keys:
        reach = check.reach(key)
        if reach.build_step is None:
            raise CannotSize(f"{reach.name} runs in a ring: turn one of its reaches round first.")
        if len(reach.below) > 1:
            names = " and ".join(check.reach(other).name for other in reach.below)
            raise CannotSize(
                f"The flow divides below {reach.name}, into {names}: size the branches above it "
                "one by one."
            )
        if any(other not in inside for other in reach.above):
            raise CannotSize(f"{reach.name} takes water from a part that is not in this branch.")
        reaches.append(_sizing_reach(check, reach, key == root_key, levels_at, open_keys))
    if not any(reach.held is None for reach in reaches):
        raise CannotSize(
            f"{check.reach(root_key).name} and all above it stand, are being built or are ditches: "
            "no proposed pipe is left to be sized."
        )
    return Tree(tuple(reaches), _lower_end(check, check.reach(root_key)))


def _sizing_reach(
    check: NetworkCheck,
    reach: ReachCheck,
    is_root: bool,
    levels_at: LevelsAt | None,
    open_keys: frozenset[str],
) -> SizingReach:
    given = check.given[reach.key]
    if reach.flow_m3s is None:
        raise CannotSize(f"What comes to {reach.name} cannot be told; mend the network first.")
    below = None if is_root or not reach.below else reach.below[0]
    joins_at = None
    if below is not None and reach.enters_at_m is not None:
        joins_at = _level_along(check, check.reach(below), reach.enters_at_m)
        if below in open_keys:
            raise CannotSize(
                f"{reach.name} joins {check.reach(below).name} part way along, and both are to be "
                f"sized: split {check.reach(below).name} there on the map, with a chamber."
            )
    if reach.key not in open_keys:
        up, down = reach.upstream_level_m, reach.downstream_level_m
        if up is None or down is None:
            raise CannotSize(f"{reach.name} stays as it is, but a level of it is missing.")
        bore = given.section.diameter_m if isinstance(given.section, PipeSection) else None
        if reach.kind == "pipe" and bore is None:
            raise CannotSize(f"{reach.name} stays as it is, but its inside diameter is missing.")
        try:
            ground = _ground(check, reach, given, levels_at)
        except CannotSize:
            ground = ()  # only drawn: no limit asks for it where a reach stays
        return SizingReach(
            reach.key, reach.name, reach.length_m, reach.flow_m3s, ground,
            below=below, held=Held(up, down, bore), joins_at_m=joins_at,
        )  # fmt: skip
    section = given.section
    return SizingReach(
        key=reach.key,
        name=reach.name,
        length_m=reach.length_m,
        flow_m3s=reach.flow_m3s,
        ground=_ground(check, reach, given, levels_at),
        below=below,
        roughness_m=section.roughness_m if isinstance(section, PipeSection) else 0.0006,
        chamber_at_head=any(check.nodes[key].kind == "chamber" for key in reach.upstream_node_keys),
        joins_at_m=joins_at,
    )


def _level_along(check: NetworkCheck, reach: ReachCheck, at_m: float) -> float:
    up, down = reach.upstream_level_m, reach.downstream_level_m
    if up is None or down is None:
        raise CannotSize(f"A level of {reach.name} is missing: enter it first.")
    return up + (down - up) * at_m / reach.length_m


def _ground(
    check: NetworkCheck, reach: ReachCheck, given: Reach, levels_at: LevelsAt | None
) -> tuple[tuple[float, float], ...]:
    """Levels along the line, bends and the cover levels of its end nodes included."""
    line = shapely.LineString(given.line)
    parts = min(MOST_POINTS, max(2, math.ceil(reach.length_m / GROUND_STEP_M)))
    drawn = np.linspace(0.0, line.length, parts + 1)
    if levels_at is None:
        levels = np.full(len(drawn), np.nan)
    else:
        levels = levels_at(shapely.get_coordinates(shapely.line_interpolate_point(line, drawn)))
    for at, keys in ((0, reach.upstream_node_keys), (-1, reach.downstream_node_keys)):
        covers = [check.nodes[key].cover_m for key in keys]
        cover = next((level for level in covers if level is not None), None)
        if cover is not None:
            levels[at] = cover
    unknown = np.isnan(levels)
    if unknown.any():
        blank_m = float(drawn[int(np.argmax(unknown))]) / line.length * reach.length_m
        raise CannotSize(
            f"The ground over {reach.name} is not known {blank_m:.0f} m from its head"
            + (": bring in a survey first." if levels_at is None else ".")
        )
    along = drawn / line.length * reach.length_m
    return tuple(zip(along.tolist(), levels.tolist(), strict=True))


def _lower_end(check: NetworkCheck, root: ReachCheck) -> LowerEnd:
    """What takes the water below the branch, and at what level."""
    if root.below:
        below = check.reach(root.below[0])
        section = check.given[below.key].section
        at = root.enters_at_m or 0.0
        return LowerEnd(
            below.name,
            _level_along(check, below, at),
            section.diameter_m if isinstance(section, PipeSection) else None,
            is_outfall=below.kind == "ditch",
        )
    nodes = [check.nodes[key] for key in root.downstream_node_keys]
    ends = [node for node in nodes if node.kind in ("outfall", "pond")]
    if not ends:
        raise CannotSize(f"{root.name} ends in the open: draw its outfall first.")
    level = next((node.invert_m for node in ends if node.invert_m is not None), None)
    if level is None:
        level = root.downstream_level_m
    if level is None:
        raise CannotSize(f"The level of {ends[0].kind} {ends[0].name} is not known: enter it.")
    return LowerEnd(f"{ends[0].kind} {ends[0].name}", level)


def with_design(check: NetworkCheck, design: Design) -> NetworkCheck:
    """The whole network with a design in it, checked anew for the same storm."""
    reaches = []
    laid = {one.key: one for one in design.reaches if one.size is not None}
    for key, given in check.given.items():
        one = laid.get(key)
        if one is None or one.size is None:
            reaches.append(given)
            continue
        old = given.section
        roughness = old.roughness_m if isinstance(old, PipeSection) else 0.0006
        reaches.append(
            replace(
                given,
                upstream_invert_m=one.upstream_m,
                downstream_invert_m=one.downstream_m,
                section=PipeSection(one.size.inside_m, roughness),
                section_fault="",
                level_fault="",
            )
        )
    return check_drains(reaches, list(check.nodes.values()), check.storm, check.limits)
