"""What two levels tell of a fall, against the law by which independent errors propagate."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from worksprog.calc.as_built import BuiltLevel, stretches_between

SOURCE = "JCGM 100:2008 (GUM) 5.1.2, equation 10, for h = z1 - z2 (A)"


def test_accuracy_of_a_fall(outside: Callable[..., None]) -> None:
    for upper, lower in ((0.010, 0.010), (0.005, 0.012), (0.020, 0.003)):
        (found,) = stretches_between(
            [BuiltLevel("a", 0, 62.05, upper), BuiltLevel("b", 10, 62.0, lower)]
        )
        outside(
            quantity=f"accuracy of a fall between levels of ±{upper * 1000:.0f} and "
            f"±{lower * 1000:.0f} mm",
            expected=math.sqrt(upper**2 + lower**2) * 1000,
            got=found.fall_accuracy_m * 1000,
            tolerance=1e-9,
            relative=True,
            unit="mm",
            source=SOURCE,
        )


def test_accuracy_of_a_gradient_by_drawing_lots(outside: Callable[..., None]) -> None:
    """The spread of a million gradients from levels with normal errors of that standard size."""
    lots = np.random.default_rng(20261124)
    rises = lots.normal(62.05, 0.010, 1_000_000) - lots.normal(62.0, 0.010, 1_000_000)
    (found,) = stretches_between(
        [BuiltLevel("a", 0, 62.05, 0.010), BuiltLevel("b", 10, 62.0, 0.010)]
    )
    outside(
        quantity="accuracy of a gradient over 10 m from levels of ±10 mm",
        expected=float(np.std(rises / 10)),
        got=found.gradient_accuracy,
        tolerance=0.005,
        relative=True,
        unit="m/m",
        source="a million drawn lots, numpy (R)",
    )
