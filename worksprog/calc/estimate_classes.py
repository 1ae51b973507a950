"""Classes of estimate, from 5 (hardly designed) to 1 (ready to build), and what is usual of each.

The accuracy ranges are those published for process plant (AACE International recommended practice
18R-97, as one published table prints them). They are typical of a class, never a club's own: what
that is worth is told by its own finished work.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from worksprog.calc.build_up.parts import BasedOn, to_penny
from worksprog.calc.working import Step, Working

SOURCE = "AACE International 18R-97, as one published table prints it"
ORIGIN = "typical of the class, written for process plant"


@dataclass(frozen=True)
class EstimateClass:
    """Per cent of the definition that is done, and how far the outcome usually lies off.

    ``low`` and ``high`` are each a band: the narrower and the wider end that is published.
    """

    number: int
    words: str
    defined: tuple[int, int]
    low: tuple[int, int]
    high: tuple[int, int]

    @property
    def usual(self) -> str:
        return (
            f"−{-self.low[0]} to −{-self.low[1]} % on the low side, "
            f"+{self.high[0]} to +{self.high[1]} % on the high side"
        )

    def typical_range(self, money: Decimal) -> tuple[Decimal, Decimal]:
        """Money less the wider low end and plus the wider high end, to the penny."""
        return (
            to_penny(money * (100 + self.low[1]) / 100),
            to_penny(money * (100 + self.high[1]) / 100),
        )


CLASSES: dict[int, EstimateClass] = {
    one.number: one
    for one in (
        EstimateClass(5, "an idea, by rule of thumb", (0, 2), (-20, -50), (30, 100)),
        EstimateClass(4, "placed, hardly designed", (1, 15), (-15, -30), (20, 50)),
        EstimateClass(3, "measured, part designed", (10, 40), (-10, -20), (10, 30)),
        EstimateClass(2, "designed, priced in detail", (30, 75), (-5, -15), (5, 20)),
        EstimateClass(1, "ready to build, quoted", (65, 100), (-3, -10), (3, 15)),
    )
}


@dataclass(frozen=True)
class Evidence:
    """What one estimate rests on.

    measured, entered, assumed   figures read off features, set by a person, and neither
    quantity                     whence its main quantity is
    confirmed_share              share of its money priced by entries that the club confirmed
    """

    measured: int
    entered: int
    assumed: int
    quantity: BasedOn
    confirmed_share: float

    def __post_init__(self) -> None:
        if min(self.measured, self.entered, self.assumed) < 0:
            raise ValueError("A count of figures must not be below 0.")
        if not 0 <= self.confirmed_share <= 1:
            raise ValueError(f"A share lies between 0 and 1, not at {self.confirmed_share:g}.")

    @property
    def figures(self) -> int:
        return self.measured + self.entered + self.assumed

    @property
    def assumed_share(self) -> float:
        return self.assumed / self.figures if self.figures else 1.0


@dataclass(frozen=True)
class Proposal:
    number: int
    reasons: tuple[str, ...]
    working: Working


# Share of figures assumed that a class may have at most, and of money at confirmed prices at least.
LIMITS: Mapping[int, tuple[float, float]] = {
    1: (0.0, 1.0),
    2: (0.25, 0.5),
    3: (0.5, 0.0),
}
RULE = "the tool's own rule of thumb, no source"


def propose_class(evidence: Evidence) -> Proposal:
    """The class an estimate seems to be of, with every reason; a person decides.

    Where the main quantity is assumed 5, or 4 with at most half of the figures assumed. Where it
    is measured or entered 4, or 3 with at most half of the figures assumed, 2 with at most a
    quarter and half of the money at confirmed prices, 1 with nothing assumed and every price
    confirmed.
    """
    share, confirmed = evidence.assumed_share, evidence.confirmed_share
    is_known = evidence.quantity is not BasedOn.ASSUMED
    if is_known:
        number = next(
            (
                number
                for number, (most, least) in LIMITS.items()
                if share <= most and confirmed >= least
            ),
            4,
        )
    else:
        number = 5 if share > LIMITS[3][0] else 4
    reasons = [
        {
            BasedOn.MEASURED: "its quantity is measured on the map",
            BasedOn.ENTERED: "its quantity is entered by a person",
            BasedOn.ASSUMED: "its quantity is assumed",
        }[evidence.quantity],
        f"{evidence.assumed} of {evidence.figures} figures are assumed, {evidence.measured} "
        f"measured and {evidence.entered} entered",
        f"{confirmed:.0%} of its money stands at prices that the club has confirmed",
    ]
    if number > 1 and is_known:
        most, least = LIMITS[min(number - 1, 3)]
        lacks = [f"at most {most:.0%} of the figures assumed" if most else "nothing assumed"]
        if least:
            lacks.append(f"at least {least:.0%} of the money at confirmed prices")
        reasons.append(f"class {number - 1} would want {' and '.join(lacks)}")
    working = Working(
        "Class proposed",
        (
            Step("", "figures measured", float(evidence.measured)),
            Step("", "figures entered by a person", float(evidence.entered)),
            Step("", "figures assumed", float(evidence.assumed)),
            Step("a", "share assumed", share * 100, "%", "assumed / all"),
            Step("p", "money at confirmed prices", confirmed * 100, "%"),
            Step("", "class", str(number), "", "by a and p, see the notes", RULE),
        ),
        (
            "Class 3 wants a of 50 % at most, class 2 of 25 % with p of 50 %, class 1 none with "
            "all; a quantity that is assumed makes it 4, or 5 above 50 %.",
        ),
    )
    return Proposal(number, tuple(reasons), working)
