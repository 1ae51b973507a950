"""Rows of estimates to what a simulation is given, and what it found back to rows.

What sways what is decided here, in one place:

- an output goes well or badly with what its entry in the price book says: the weather of its
  winter, the ground of its project, or the crew's hands (a contractor's hands are his own);
- a quantity goes with the ground of its project; equal quantities of one item are one figure, and
  so is one output rate within an item: the digger's hours and its driver's are the same hours;
- a price is one figure wherever it is used, and goes with the prices of its supplier;
- every figure goes a little with the programme as a whole.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from typing import Any

from worksprog.calc.financial_years import stretches
from worksprog.calc.ranges import Shape, ThreePoint
from worksprog.calc.simulation import (
    Job,
    Ranged,
    Spread,
    Sway,
    Uncertain,
    UncertainLine,
    simulate,
)
from worksprog.calc.working import Step
from worksprog.works.models import (
    Category,
    Estimate,
    EstimateLine,
    EstimateRules,
    Item,
    Phase,
    Project,
    SwayedBy,
)

NO_DATES = "no dates yet"
PROGRAMME = "programme"
HANDS = "hands"
KEPT_CHANCES = (10, 50, 80, 90)
_WINTER_TURNS_IN = 7
_SHARES = ("weather", "ground", "supplier", "hands", "programme")


@dataclass(frozen=True)
class Sways:
    """How much of a figure's sway goes with each kind of cause, by the club's rules."""

    weather: float
    ground: float
    supplier: float
    hands: float
    programme: float
    shape: Shape
    seed: int
    draws: int

    @classmethod
    def of(cls, rules: EstimateRules) -> Sways:
        return cls.of_facts(
            {
                **{name: getattr(rules, f"sway_{name}") for name in _SHARES},
                "shape": rules.range_shape,
                "seed": rules.seed,
                "draws": rules.draws,
            }
        )

    @classmethod
    def of_facts(cls, facts: Mapping[str, Any]) -> Sways:
        """From ``facts`` with seed and draws beside them."""
        weather, ground, supplier, hands, programme = (float(facts[name]) for name in _SHARES)
        return cls(
            weather=weather,
            ground=ground,
            supplier=supplier,
            hands=hands,
            programme=programme,
            shape=Shape(facts["shape"]),
            seed=facts["seed"],
            draws=facts["draws"],
        )

    @property
    def facts(self) -> dict[str, Any]:
        return {
            "weather": self.weather,
            "ground": self.ground,
            "supplier": self.supplier,
            "hands": self.hands,
            "programme": self.programme,
            "shape": self.shape.value,
        }

    @property
    def words(self) -> str:
        return f"simulated, {self.draws:,} draws, seed {self.seed}"


def winter_of(day: date | None) -> str:
    """The winter that a day belongs to, from July to June; "" where there is no day."""
    if day is None:
        return ""
    year = day.year if day.month >= _WINTER_TURNS_IN else day.year - 1
    return f"{year}/{(year + 1) % 100:02}"


def year_shares(start: date | None, finish: date | None, starts_in_month: int) -> dict[str, float]:
    """How much of a job falls to each financial year, by its weekdays."""
    if start is None:
        return {NO_DATES: 1.0}
    cut = stretches(start, max(finish or start, start), starts_in_month)
    days = sum(one.days for one in cut)
    return {one.year.name: one.days / days for one in cut}


@dataclass(frozen=True)
class Placed:
    """An item with its live estimate, and where and when it is done."""

    item: Item
    estimate: Estimate
    project: Project
    phase: Phase
    winter: str
    years: Mapping[str, float]

    @classmethod
    def on(
        cls,
        item: Item,
        estimate: Estimate,
        phase: Phase,
        project: Project,
        dates: tuple[date | None, date | None],
        starts_in_month: int,
    ) -> Placed:
        return cls(
            item,
            estimate,
            project,
            phase,
            winter_of(dates[0]),
            year_shares(*dates, starts_in_month),
        )

    @property
    def facts(self) -> list[Any]:
        """What a simulation of it rests on, for the mark."""
        made = self.estimate
        return [
            str(self.item.uuid),
            made.simulated.get("mark", [made.pk, str(made.money_likely), made.labour_likely_h]),
            self.project.code,
            str(self.phase.uuid),
            self.winter,
            sorted(self.years.items()),
        ]


def mark_of(placed: Sequence[Placed], sways: Sways) -> str:
    """Changes whenever anything does that the simulation rests on."""
    facts = [
        sways.facts,
        sways.seed,
        sways.draws,
        sorted(one.facts for one in placed),
    ]
    return sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()


def causes_of(
    lines: Iterable[EstimateLine], swayed_by: Mapping[str, str]
) -> dict[str, dict[str, str]]:
    """By step: what its output goes with and whose price it is, as the book says now.

    Kept with the estimate, so that one that is approved stays as it was.
    """
    kept: dict[str, dict[str, str]] = {}
    for line in lines:
        told = {}
        if line.output_code and line.output_code in swayed_by:
            told["output"] = swayed_by[line.output_code]
        if line.price is not None and line.price.supplier:
            told["supplier"] = line.price.supplier
        if told:
            kept[line.step] = told
    return kept


@dataclass(frozen=True)
class NamedJob:
    """A job to simulate, and what its figures' lucks are called on a page."""

    job: Job
    names: Mapping[str, str]


def job_of(
    item: Item,
    lines: Sequence[EstimateLine],
    causes: Mapping[str, Mapping[str, str]],
    sways: Sways,
    *,
    place: str,
    winter: str = "",
    shares: Mapping[str, float] | None = None,
) -> NamedJob:
    """An item's lines as figures with their causes. ValueError in words for figures that cannot be."""
    names: dict[str, str] = {}
    shared = _sway(PROGRAMME, sways.programme)
    drawn = tuple(
        _line(item, line, causes.get(line.step, {}), sways, shared, place, winter, names)
        for line in lines
    )
    return NamedJob(Job(str(item.uuid), item.name, drawn, dict(shares or {})), names)


def _sway(cause: str, share: float) -> tuple[Sway, ...]:
    return (Sway(cause, share),) if share > 0 else ()


def _line(
    item: Item,
    line: EstimateLine,
    causes: Mapping[str, str],
    sways: Sways,
    shared: tuple[Sway, ...],
    place: str,
    winter: str,
    names: dict[str, str],
) -> UncertainLine:
    measured = ThreePoint(line.quantity_low, line.quantity_likely, line.quantity_high)
    unit, output = line.unit, None
    if line.output_low is not None and line.output_high is not None:
        measured = ThreePoint(line.measured_low, line.measured_likely, line.measured_high)
        unit = line.measured_unit
        per_hour = ThreePoint(line.output_low, line.output_likely or 0.0, line.output_high)
        code = line.output_code or line.step
        chance = f"output {item.uuid} {code}"
        names[chance] = f"output of “{line.description}”, {item.name}"
        output = Uncertain(
            per_hour, chance, (*_output_sway(line, causes, sways, place, winter), *shared)
        )
    chance = (
        f"measured {item.uuid} {unit} {measured.low:.9g} {measured.likely:.9g} {measured.high:.9g}"
    )
    names.setdefault(chance, f"quantity of “{line.description}”, {item.name}")
    price_chance = f"price {item.uuid} {line.step}"
    price_name = f"price of “{line.description}”, {item.name}"
    if line.price is not None and not line.is_by_hand:
        price_chance = f"price {line.price.code}"
        price_name = f"price of {line.price.name}, wherever it is used"
    names[price_chance] = price_name
    supplier = causes.get("supplier", "")
    return UncertainLine(
        key=line.step,
        label=line.description,
        measured=Uncertain(measured, chance, (*_sway(f"ground {place}", sways.ground), *shared)),
        price=Uncertain(
            ThreePoint(float(line.rate_low), float(line.rate_likely), float(line.rate_high)),
            price_chance,
            (*(_sway(f"supplier {supplier}", sways.supplier) if supplier else ()), *shared),
        ),
        output=output,
        own_crew=line.category == Category.LABOUR,
    )


def _output_sway(
    line: EstimateLine, causes: Mapping[str, str], sways: Sways, place: str, winter: str
) -> tuple[Sway, ...]:
    by = causes.get("output", SwayedBy.HANDS)
    if by == SwayedBy.WEATHER:
        return _sway(f"weather {winter}", sways.weather)
    if by == SwayedBy.GROUND:
        return _sway(f"ground {place}", sways.ground)
    own = line.category in (Category.LABOUR, Category.PLANT, Category.HAULAGE)
    return _sway(HANDS, sways.hands) if own else ()


def cause_words(cause: str, places: Mapping[str, str]) -> str:
    """What a cause is called on a page; ``places`` are projects by the name of their ground."""
    kind, _, of = cause.partition(" ")
    if kind == "weather":
        return f"weather of winter {of}" if of else "weather of a winter not set yet"
    if kind == "ground":
        return f"ground of {places.get(of, of)}"
    if kind == "supplier":
        return f"prices of {of}"
    if kind == HANDS:
        return "hands of the crew"
    return "the programme as a whole"


def range_item(
    item: Item,
    lines: Sequence[EstimateLine],
    swayed_by: Mapping[str, str],
    rules: EstimateRules,
) -> tuple[dict[str, Any], tuple[Step, ...]]:
    """An item's own hours and money by chance: what its estimate keeps, and the steps that tell it.

    ({}, ()) where there is no line to draw.
    """
    if not lines:
        return {}, ()
    sways = Sways.of(rules)
    causes = causes_of(lines, swayed_by)
    named = job_of(item, lines, causes, sways, place=item.phase.project.code)
    run = simulate(
        [named.job],
        seed=sways.seed,
        draws=sways.draws,
        shape=sways.shape,
        drivers_of=(),
        threads=1,
    )
    facts = [[*_figures(line), causes.get(line.step)] for line in lines]
    kept = {
        "mark": sha256(json.dumps(facts, default=str).encode()).hexdigest()[:20],
        "seed": sways.seed,
        "draws": sways.draws,
        "sways": sways.facts,
        "causes": causes,
        "hours": _kept(run.total.hours),
        "money": _kept(run.total.money),
    }
    return kept, range_steps(run.total, sways)


def range_steps(ranged: Ranged, sways: Sways) -> tuple[Step, ...]:
    """What was drawn, for a working."""

    def steps(what: str, spread: Spread, unit: str) -> tuple[Step, ...]:
        return (
            Step("", f"{what}, mean of the draws", spread.mean, unit, "", sways.words),
            Step(
                "P80",
                f"{what}, 8 in 10 chance within",
                spread.within(0.8),
                unit,
                "80 % of the draws lie below",
                f"standard error {spread.standard_error(0.8):,.2g}",
            ),
        )

    return (*steps("labour", ranged.hours, "h"), *steps("money", ranged.money, ""))


def _figures(line: EstimateLine) -> list[Any]:
    return [
        line.step,
        line.category,
        *(
            round(value, 9)
            for value in (line.quantity_low, line.quantity_likely, line.quantity_high)
        ),
        *(
            round(value, 9)
            for value in (line.measured_low, line.measured_likely, line.measured_high)
        ),
        line.output_low,
        line.output_likely,
        line.output_high,
        *(f"{value:.2f}" for value in (line.rate_low, line.rate_likely, line.rate_high)),
        line.price.code if line.price is not None and not line.is_by_hand else "",
    ]


def _kept(spread: Spread) -> dict[str, float]:
    kept = {f"P{chance}": round(spread.within(chance / 100), 2) for chance in KEPT_CHANCES}
    return kept | {
        "mean": round(spread.mean, 4),
        "sd": round(spread.sd, 4),
        "error": round(spread.standard_error(0.8), 4),
    }


def spread_to_row(spread: Spread) -> dict[str, Any]:
    return {
        "mean": round(spread.mean, 4),
        "sd": round(spread.sd, 4),
        "quantiles": [round(value, 2) for value in spread.quantiles],
    }


def row_to_spread(kept: Mapping[str, Any], draws: int) -> Spread:
    return Spread(kept["mean"], kept["sd"], tuple(kept["quantiles"]), draws)
