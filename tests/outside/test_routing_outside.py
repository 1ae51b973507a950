"""Routing through ponds and reaches against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from worksprog.calc.routing import (
    coefficients,
    level_pool,
    muskingum,
    orifice_flows_m3s,
    stages_from_outline,
    weir_flows_m3s,
)
from worksprog.calc.routing.pond import Pond

CHOW_POND = "Chow, Maidment and Mays 1988, example 8.2.1 (M)"
CHOW_RIVER = "Chow, Maidment and Mays 1988, example 8.4.1 (K, X and dt C2, inflow M)"
SUBRAMANYA = "Subramanya, Engineering Hydrology (inputs C2)"


def test_a_pond_by_storage_indication(outside) -> None:
    """Feet and cubic feet a second, as printed: the method knows no units."""
    outflow = [0, 3, 8, 17, 30, 43, 60, 78, 97, 117, 137, 156, 173, 190, 205, 218, 231, 242, 253,
               264, 275]  # fmt: skip
    inflow = [0, 60, 120, 180, 240, 300, 360, 320, 280, 240, 200, 160, 120, 80, 40] + [0] * 7
    stage = np.arange(21) * 0.5
    found = level_pool(43_560 * stage, outflow, inflow, step_s=600)
    for step, expected in ((1, 2.4), (2, 17.1), (3, 61.1)):
        outside(
            quantity=f"level pool, outflow after {step * 10} min",
            expected=expected, got=float(found.outflow_m3s[step]), tolerance=0.05, unit="cfs",
            source=CHOW_POND,
        )  # fmt: skip
    peak = int(found.outflow_m3s.argmax())
    outside(
        quantity="level pool, greatest outflow", expected=270.0,
        got=float(found.outflow_m3s[peak]), tolerance=0.1, unit="cfs", source=CHOW_POND,
    )  # fmt: skip
    outside(
        quantity="level pool, time of it", expected=80, got=peak * 10, tolerance=0, unit="min",
        source=CHOW_POND,
    )  # fmt: skip
    outside(
        quantity="level pool, greatest stage", expected=9.77,
        got=float(found.volume_m3[peak]) / 43_560, tolerance=0.01, unit="ft", source=CHOW_POND,
    )  # fmt: skip


def test_a_linear_reservoir(outside) -> None:
    """S = k Q under a steady inflow from empty: Q = I (1 - e^(-t/k))."""
    flows = np.linspace(0, 0.2, 5)
    found = level_pool(3600 * flows, flows, np.full(61, 0.1), step_s=60)
    outside(
        quantity="linear reservoir after 1 h", expected=0.0632121,
        got=float(found.outflow_m3s[-1]), tolerance=1e-4, relative=True, unit="m³/s",
        source="exact solution (A)",
    )  # fmt: skip


@pytest.mark.parametrize(("name", "expected"), [("c1", 0.0631), ("c2", 0.3442), ("c3", 0.5927)])
def test_muskingum_coefficients(outside, name: str, expected: float) -> None:
    found = coefficients(k_s=2.3 * 3600, x=0.15, step_s=3600)
    outside(
        quantity=f"Muskingum {name}", expected=expected, got=getattr(found, name),
        tolerance=5e-5, source=CHOW_RIVER,
    )  # fmt: skip


def test_a_muskingum_hydrograph(outside) -> None:
    inflow = [93, 137, 208, 320, 442, 546, 630, 678, 691, 675, 634, 571, 477, 390, 329, 247, 184,
              134, 108, 90]  # fmt: skip
    printed = [85, 91, 114, 159, 233, 324, 420, 509, 578, 623, 642, 635, 603, 546, 479, 413, 341,
               274, 215, 170]  # fmt: skip
    found = muskingum(inflow, k_s=2.3 * 3600, x=0.15, step_s=3600, start=85)
    for hour, (expected, got) in enumerate(zip(printed, found.tolist(), strict=True), start=1):
        outside(
            quantity=f"Muskingum, outflow in hour {hour}", expected=expected, got=got,
            tolerance=0.55, unit="cfs", source=CHOW_RIVER,
        )  # fmt: skip


def test_muskingum_beyond_and_within_its_step(outside) -> None:
    """dt 4 h lies within 2KX = 3.6 h to 20.4 h; the published first coefficient."""
    outside(
        quantity="Muskingum C0, K 12 h, X 0.15, dt 4 h", expected=0.01639,
        got=coefficients(k_s=12 * 3600, x=0.15, step_s=4 * 3600).c1, tolerance=1e-4,
        source="question of a public quiz, arithmetic (A)",
    )  # fmt: skip
    found = muskingum([10, 20, 50, 60, 55, 45, 35, 27, 20, 15], k_s=12, x=0.2, step_s=6, start=10)
    outside(
        quantity="Muskingum, greatest outflow", expected=49.58, got=float(found.max()),
        tolerance=0.05, unit="m³/s", source=SUBRAMANYA,
    )  # fmt: skip
    outside(
        quantity="Muskingum, time of it", expected=30, got=int(found.argmax()) * 6, tolerance=0,
        unit="h", source=SUBRAMANYA,
    )  # fmt: skip


def test_outlets(outside) -> None:
    outside(
        quantity="broad weir 1 m, 0.3 m over its crest", expected=0.2802,
        got=float(weir_flows_m3s(1.0, 0.3)), tolerance=1e-3, relative=True, unit="m³/s",
        source="Q = 1.705 b h^1.5 (A)",
    )  # fmt: skip
    outside(
        quantity="orifice 150 mm, 1 m over its centre", expected=0.04696,
        got=float(orifice_flows_m3s(0.150, 1.075)), tolerance=1e-3, relative=True, unit="m³/s",
        source="Q = 0.6 A √(2 g h) (A)",
    )  # fmt: skip


def test_a_dug_pond_holds_its_prismoid(outside) -> None:
    """20 by 10 m bed, 1.5 m deep, sides 1 in 3: the volume by the prismoidal formula."""
    from shapely import box

    stages = stages_from_outline(box(0, 0, 29, 19), bank_m=50, depth_m=1.5, side_slope=3, count=61)
    levels, areas = zip(*stages, strict=True)
    outside(
        quantity="volume of a pond made from its outline", expected=543.0,
        got=float(Pond("p", "P", levels, areas).volumes_at(50.0)), tolerance=1e-3, relative=True,
        unit="m³", source="prismoidal formula (A)",
    )  # fmt: skip
