"""The book's output rates as the crew's own hours have moved them, for one kind of work."""

from __future__ import annotations

from dataclasses import dataclass, replace

from worksprog.calc.build_up.hands import Hands, steps_of
from worksprog.calc.build_up.parts import Book, OutputRate, Recipe
from worksprog.calc.ranges import ThreePoint


@dataclass(frozen=True)
class CrewRate:
    """Learnt hours over hours of the book.

    factor     hours the crew takes over those of the book, in the middle
    narrowing  spread of the next job over the book's, both in the log
    words      what it was learnt from, for the working
    """

    factor: float
    narrowing: float
    words: str

    def __post_init__(self) -> None:
        if not (self.factor > 0 and self.narrowing > 0):
            raise ValueError("Factor and narrowing of a learnt rate must be above 0.")

    def moved(self, rate: OutputRate) -> OutputRate:
        """likely / factor; low and high keep their side of it, drawn in or out in the log.

        low' = likely' (low / likely)^narrowing. With no evidence both are 1 and the rate is the
        book's.
        """
        was = rate.per_hour
        likely = was.likely / self.factor
        return replace(
            rate,
            per_hour=ThreePoint(
                likely * (was.low / was.likely) ** self.narrowing,
                likely,
                likely * (was.high / was.likely) ** self.narrowing,
            ),
            source=f"{self.words}: {was.likely:g} {rate.unit}/h ÷ {self.factor:.3f}; {rate.source}",
        )

    def before(self, output: ThreePoint) -> ThreePoint:
        """The book's rate that ``moved`` made this of."""
        likely = output.likely * self.factor
        return ThreePoint(
            likely * (output.low / output.likely) ** (1 / self.narrowing),
            likely,
            likely * (output.high / output.likely) ** (1 / self.narrowing),
        )


def crew_codes(recipe: Recipe, hands: Hands) -> frozenset[str]:
    """Output rates that the crew works by, and the machines with it; a contractor's are his own."""
    own: set[str] = set()
    given: set[str] = set()
    for line in steps_of(recipe):
        theirs = line.key in hands.by_hours or line.key in hands.by_rate
        (given if theirs else own).add(line.rate)
    return frozenset(own - given - {""})


def by_crew_rates(recipe: Recipe, book: Book, hands: Hands) -> tuple[Book, CrewRate | None]:
    """The book with the rates of this recipe moved, and by which; itself where none is learnt."""
    learnt = book.crew.get(recipe.kind)
    codes = crew_codes(recipe, hands) if learnt is not None else frozenset()
    if learnt is None or not codes:
        return book, None
    rates = {
        code: learnt.moved(rate) if code in codes and rate.per_hour.low > 0 else rate
        for code, rate in book.rates.items()
    }
    return replace(book, rates=rates), learnt
