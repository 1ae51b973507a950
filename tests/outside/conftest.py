"""The outside checks record what they compared, so that one table can be printed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

ROWS = pytest.StashKey[list[tuple[str, str, str, str, str]]]()


def pytest_configure(config: pytest.Config) -> None:
    config.stash[ROWS] = []


def _number(value: float, unit: str) -> str:
    return f"{value:.6g} {unit}".strip()


@pytest.fixture
def outside(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Compare ``got`` with a published ``expected``, keep the row, fail when it is out."""

    rows = request.config.stash.setdefault(ROWS, [])

    def check(
        *,
        quantity: str,
        expected: float,
        got: float,
        tolerance: float,
        source: str,
        unit: str = "",
        relative: bool = False,
    ) -> None:
        assert source, "an outside check names its source"
        allowed = tolerance * abs(expected) if relative else tolerance
        limit = f"{tolerance:.3g} of it" if relative else _number(tolerance, unit)
        rows.append((quantity, _number(expected, unit), _number(got, unit), limit, source))
        assert abs(got - expected) <= allowed, (
            f"{quantity}: expected {expected} ± {allowed} {unit}, got {got} ({source})"
        )

    return check
