"""What a simulation is given: figures with their range, what sways them, lines, jobs and groups."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from worksprog.calc.ranges import ThreePoint

LEAST_DRAWS, MOST_DRAWS = 100, 100_000
ROUNDING = 1e-9


@dataclass(frozen=True)
class Sway:
    """A cause that moves many figures at once.

    share  of the figure's variance (on the normal scale) that the cause accounts for; two figures
           with shares s and t of one cause are correlated by √(s t) through it
    """

    cause: str
    share: float

    def __post_init__(self) -> None:
        if not 0 <= self.share <= 1:
            raise ValueError(f"{self.cause}: a share lies between 0 and 1, not at {self.share:g}.")


@dataclass(frozen=True)
class Uncertain:
    """One figure of a line.

    chance  the name under which its own luck is drawn; figures of one name move as one (the price
            of one thing in every job), others are drawn apart
    """

    point: ThreePoint
    chance: str
    sways: tuple[Sway, ...] = ()

    def __post_init__(self) -> None:
        causes = [sway.cause for sway in self.sways]
        if len(set(causes)) < len(causes):
            raise ValueError(f"{self.chance}: a cause sways a figure once, not twice.")
        together = sum(sway.share for sway in self.sways)
        if together > 1 + ROUNDING:
            raise ValueError(
                f"{self.chance}: the causes together take {together:.0%} of its sway; at most "
                "100 % can be shared out."
            )

    @property
    def own_share(self) -> float:
        return max(1.0 - sum(sway.share for sway in self.sways), 0.0)


@dataclass(frozen=True)
class UncertainLine:
    """A line of an estimate: measured / output = hours, and hours (or measured) times price.

    output    units an hour; None where what is measured is bought as it is
    own_crew  its hours are the club's own crew's
    """

    key: str
    label: str
    measured: Uncertain
    price: Uncertain
    output: Uncertain | None = None
    own_crew: bool = False

    def __post_init__(self) -> None:
        if self.measured.point.low < 0:
            raise ValueError(f"'{self.label}': the quantity must not be below 0.")
        if self.price.point.low < 0:
            raise ValueError(f"'{self.label}': the price must not be below 0.")
        if self.output is not None and self.output.point.low <= 0:
            raise ValueError(
                f"'{self.label}': the output must be above 0 an hour at its lowest, not "
                f"{self.output.point.low:g}."
            )

    @property
    def figures(self) -> tuple[Uncertain, ...]:
        listed = (self.measured, self.output, self.price)
        return tuple(one for one in listed if one is not None)


@dataclass(frozen=True)
class Job:
    """An item with its lines; ``shares`` says how much of it falls to each group (0 to 1)."""

    key: str
    label: str
    lines: tuple[UncertainLine, ...]
    shares: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for group, share in self.shares.items():
            if not 0 <= share <= 1:
                raise ValueError(
                    f"'{self.label}': its share in {group} lies between 0 and 1, not at {share:g}."
                )


def checked_draws(draws: int) -> int:
    """The number itself; ValueError outside its bounds."""
    if not LEAST_DRAWS <= draws <= MOST_DRAWS:
        raise ValueError(
            f"From {LEAST_DRAWS:,} to {MOST_DRAWS:,} draws can be made, not {draws:,}."
        )
    return draws
