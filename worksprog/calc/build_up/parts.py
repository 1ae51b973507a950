"""What an estimate is made of: measures, parameters, recipes, and the price book they draw on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING

from worksprog.calc.formulas import Formula, Question, Sheet, Told
from worksprog.calc.ranges import ThreePoint
from worksprog.calc.working import Step, Working

if TYPE_CHECKING:
    from worksprog.calc.build_up.crew_rates import CrewRate

PENNY = Decimal("0.01")


class Category(StrEnum):
    """Under which head a line is added up."""

    LABOUR = "labour"
    PLANT = "plant"
    MATERIAL = "material"
    HAULAGE = "haulage"
    CONTRACTOR = "contractor"


class BasedOn(StrEnum):
    """Where a quantity or a parameter of an estimate came from."""

    MEASURED = "measured"
    ENTERED = "entered"
    ASSUMED = "assumed"


@dataclass(frozen=True)
class Measure:
    """A quantity read off the features; ``assumed`` stands in when they do not tell it."""

    name: str
    label: str
    unit: str
    assumed: float | None = None


@dataclass(frozen=True)
class Parameter:
    """A figure of the design or the ground that the estimator sets, with what is usual.

    ``usual`` is a range where it is never known beforehand (bulking, waste): low, likely and high
    of the estimate use its three values. A set parameter is certain.
    """

    name: str
    label: str
    unit: str
    usual: ThreePoint
    minimum: float
    maximum: float
    choices: tuple[float, ...] = ()
    source: str = ""

    def checked(self, value: float) -> float:
        """The value itself; ValueError with the label when it is out of bounds."""
        if self.choices and value not in self.choices:
            offered = ", ".join(f"{choice:g}" for choice in self.choices)
            raise ValueError(f"{self.label}: choose one of {offered} {self.unit}, not {value:g}.")
        if not self.minimum <= value <= self.maximum:
            raise ValueError(
                f"{self.label}: from {self.minimum:g} to {self.maximum:g} {self.unit} is "
                f"expected, not {value:g}."
            )
        return value


@dataclass(frozen=True)
class LineRecipe:
    """One line that follows from a derived quantity.

    ``rate``: output rate in units per hour; with it the line is hours, without it quantities.
    ``price``: code in the price book; ``{name}`` in it is filled from the parameters.
    ``waste``: name of the parameter that is added to the quantity as a share.
    ``contract``: code of a contractor's rate for one unit of the quantity, which is taken where a
    contractor does the step and the book has it; left out, ``contract-`` and the output rate.
    """

    key: str
    category: Category
    description: str
    quantity: str
    price: str
    rate: str = ""
    waste: str = ""
    contract: str = ""

    @property
    def contract_rate(self) -> str:
        return self.contract or (f"contract-{self.rate}" if self.rate else "")

    def goes_with(self, other: LineRecipe) -> bool:
        """A machine that does the very quantity a person does: a contractor brings it with him."""
        return (
            self.category in (Category.PLANT, Category.HAULAGE)
            and bool(self.rate)
            and (self.quantity, self.rate) == (other.quantity, other.rate)
        )


@dataclass(frozen=True)
class Derived:
    """One quantity as it came out: its range, and its step of the working."""

    range: ThreePoint
    step: Step


class EarthRole(StrEnum):
    """What a quantity of earth is to the spoil balance.

    Cuts are in the bank and leave the work (what a trench takes back is not counted); fills are in
    place and firm. Topsoil goes apart. Unsuitable earth (silt, roots) makes no fill.
    """

    CUT = "cut"
    FILL = "fill"
    TOPSOIL_OFF = "topsoil_off"
    TOPSOIL_ON = "topsoil_on"
    UNSUITABLE = "unsuitable"


@dataclass(frozen=True)
class Quantity:
    """A quantity that follows by formula from what is measured, set, or worked out before it."""

    name: str
    label: str
    unit: str
    formula: str
    source: str = ""
    earth: EarthRole | None = None


@dataclass(frozen=True)
class Recipe:
    """How one kind of work is measured and built up; all of it is data.

    ``checks`` are questions that must be answered with yes before anything is built up.
    ``on`` the kinds of feature it is measured on, the usual one first; ``beside`` those that
    belong to it without telling its quantities; ``cautions`` what can hurt, by key; ``version``
    goes up with each change.
    """

    kind: str
    title: str
    measures: tuple[Measure, ...]
    parameters: tuple[Parameter, ...]
    quantities: tuple[Quantity, ...]
    lines: tuple[LineRecipe, ...]
    progress: str  # the quantity by which the work's progress is told
    checks: tuple[Question, ...] = ()
    assumes: tuple[str, ...] = ()
    on: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    version: int = 1

    @cached_property
    def sheet(self) -> Sheet:
        """The formulas, read and checked. FormulaError when they are not in order."""
        return Sheet(
            [
                *(Told(one.name, one.label, one.unit) for one in self.measures),
                *(Told(one.name, one.label, one.unit) for one in self.parameters),
            ],
            [Formula(one.name, one.label, one.unit, one.formula) for one in self.quantities],
            self.checks,
        )

    def derive(self, values: Mapping[str, ThreePoint]) -> dict[str, Derived]:
        """Every quantity with its range and its working. FormulaError as the sheet's."""
        found = self.sheet.work_out_ranges(values)
        return {
            one.name: Derived(
                found[one.name],
                Step(
                    "",
                    one.label,
                    found[one.name].likely,
                    one.unit,
                    self._formulas_shown[one.name],
                    one.source,
                ),
            )
            for one in self.quantities
        }

    @cached_property
    def _formulas_shown(self) -> dict[str, str]:
        """Nothing where a quantity only takes over what was measured."""
        labels = set(self.sheet.labels.values())
        shown = {one.name: self.sheet.shown(one.name) for one in self.quantities}
        return {name: "" if words in labels else words for name, words in shown.items()}

    def measure(self, name: str) -> Measure:
        return next(measure for measure in self.measures if measure.name == name)

    def parameter(self, name: str) -> Parameter:
        return next(parameter for parameter in self.parameters if parameter.name == name)


@dataclass(frozen=True)
class MoneyRange:
    """Low, likely and high in money; ValueError unless they rise."""

    low: Decimal
    likely: Decimal
    high: Decimal

    def __post_init__(self) -> None:
        if not self.low <= self.likely <= self.high:
            raise ValueError(
                f"Low, likely and high must rise: {self.low}, {self.likely}, {self.high}."
            )

    @classmethod
    def exactly(cls, value: Decimal) -> MoneyRange:
        return cls(value, value, value)

    @classmethod
    def nothing(cls) -> MoneyRange:
        return cls.exactly(Decimal("0.00"))

    def plus(self, other: MoneyRange) -> MoneyRange:
        return MoneyRange(self.low + other.low, self.likely + other.likely, self.high + other.high)

    def as_points(self) -> ThreePoint:
        return ThreePoint(float(self.low), float(self.likely), float(self.high))


def to_penny(amount: Decimal, penny: Decimal = PENNY) -> Decimal:
    """Rounded to the smallest coin, halves to the even one, so that many roundings even out."""
    return amount.quantize(penny, rounding=ROUND_HALF_EVEN)


@dataclass(frozen=True)
class Price:
    """What one unit costs, before tax."""

    code: str
    name: str
    unit: str
    amount: MoneyRange
    source: str


@dataclass(frozen=True)
class OutputRate:
    """How many units are done in one hour of one person or one machine."""

    code: str
    name: str
    unit: str  # of what is done: "m", "m³"
    per_hour: ThreePoint
    source: str


@dataclass(frozen=True)
class Book:
    """The prices and output rates an estimate draws on."""

    prices: Mapping[str, Price]
    rates: Mapping[str, OutputRate]
    crew: Mapping[str, CrewRate] = field(default_factory=dict)  # by kind of work, what was learnt

    def price(self, code: str, *, used_for: str) -> Price:
        """The entry; ValueError names the code, the line that wants it and what to do."""
        if code not in self.prices:
            raise ValueError(
                f"The price book has no entry '{code}', which '{used_for}' needs: add it there."
            )
        return self.prices[code]

    def rate(self, code: str, *, used_for: str) -> OutputRate:
        if code not in self.rates:
            raise ValueError(
                f"The price book has no output rate '{code}', which '{used_for}' needs: "
                "add it there."
            )
        rate = self.rates[code]
        if rate.per_hour.low <= 0:
            raise ValueError(f"The output rate '{code}' must be more than 0 an hour.")
        return rate


@dataclass(frozen=True)
class Line:
    """One line of an estimate; hours are the club's own crew's, and only on labour lines."""

    key: str
    category: Category
    description: str
    quantity: ThreePoint  # hours where the line is worked out by an output rate
    unit: str
    unit_price: MoneyRange
    labour_h: ThreePoint
    amount: MoneyRange
    working: Working
    price_code: str = ""  # the entry of the book it was priced by; "" when entered by hand
    measured: ThreePoint | None = None  # the quantity before the output rate; None: by hand
    measured_unit: str = ""
    output: OutputRate | None = None


@dataclass(frozen=True)
class Estimate:
    """An item's build-up."""

    kind: str
    derived: Mapping[str, Derived]
    given: tuple[Step, ...]  # measures and parameters, then what was derived from them
    lines: tuple[Line, ...]
    labour_h: ThreePoint
    money: MoneyRange
    by_category: Mapping[Category, MoneyRange]
    working: Working
    learnt: CrewRate | None = None  # the crew's own rate, where one was used
    learnt_codes: frozenset[str] = frozenset()  # output rates that it moved
