"""The class proposed follows what an estimate rests on; the ranges narrow from 5 to 1."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest

from worksprog.calc.build_up.parts import BasedOn
from worksprog.calc.estimate_classes import CLASSES, Evidence, propose_class


@pytest.mark.parametrize(
    ("measured", "entered", "assumed", "quantity", "confirmed", "number"),
    [
        (0, 0, 0, BasedOn.ASSUMED, 0.0, 5),
        (0, 1, 6, BasedOn.ASSUMED, 1.0, 5),
        (0, 5, 2, BasedOn.ASSUMED, 1.0, 4),
        (1, 1, 6, BasedOn.ENTERED, 1.0, 4),
        (1, 2, 3, BasedOn.ENTERED, 0.0, 3),
        (1, 0, 6, BasedOn.MEASURED, 1.0, 4),
        (2, 1, 3, BasedOn.MEASURED, 0.0, 3),
        (3, 3, 2, BasedOn.MEASURED, 0.49, 3),
        (3, 3, 2, BasedOn.MEASURED, 0.5, 2),
        (4, 2, 0, BasedOn.MEASURED, 0.99, 2),
        (4, 2, 0, BasedOn.MEASURED, 1.0, 1),
    ],
)
def test_the_class_proposed(
    measured: int, entered: int, assumed: int, quantity: BasedOn, confirmed: float, number: int
) -> None:
    proposal = propose_class(Evidence(measured, entered, assumed, quantity, confirmed))
    assert proposal.number == number
    assert f"{assumed} of {measured + entered + assumed} figures are assumed" in " ".join(
        proposal.reasons
    )
    assert proposal.working.steps[-1].value == str(number)


def test_more_assumed_never_betters_the_class() -> None:
    for confirmed in (0.0, 0.5, 1.0):
        numbers = [
            propose_class(Evidence(4, 2, assumed, BasedOn.MEASURED, confirmed)).number
            for assumed in range(20)
        ]
        assert numbers == sorted(numbers)


def test_the_next_class_is_told_what_it_wants() -> None:
    reasons = propose_class(Evidence(3, 3, 2, BasedOn.MEASURED, 0.2)).reasons
    assert reasons[-1] == (
        "class 2 would want at most 25% of the figures assumed and at least 50% of the money at "
        "confirmed prices"
    )
    assert (
        "class 3 would want" in propose_class(Evidence(1, 0, 6, BasedOn.MEASURED, 0.2)).reasons[-1]
    )
    assert len(propose_class(Evidence(4, 2, 0, BasedOn.MEASURED, 1.0)).reasons) == 3


def test_ranges_narrow() -> None:
    money = Decimal("10000.00")
    spans = [CLASSES[number].typical_range(money) for number in (5, 4, 3, 2, 1)]
    assert spans[0] == (Decimal("5000.00"), Decimal("20000.00"))
    for wide, narrow in pairwise(spans):
        assert wide[0] < narrow[0] < money < narrow[1] < wide[1]


def test_evidence_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="below 0"):
        Evidence(-1, 0, 0, BasedOn.MEASURED, 0)
    with pytest.raises(ValueError, match="share"):
        Evidence(1, 0, 0, BasedOn.MEASURED, 1.5)
