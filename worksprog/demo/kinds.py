"""A kind of work of Ashlode Vale's own: steps in sleepers on the banks above the brook."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from worksprog.clubs.models import Club, User
from worksprog.works.services import keep_kind, set_output_rate, set_price

STEPS: dict[str, Any] = {
    "kind": "steps_in_sleepers",
    "title": "Steps in sleepers",
    "on": ["path"],
    "cautions": ["services", "machines"],
    "progress": "steps",
    "assumes": ["One sleeper a step, pinned; the going is filled with path stone."],
    "measures": [{"name": "length_m", "label": "length along the line", "unit": "m"}],
    "parameters": [
        {
            "name": "going_m",
            "label": "going of one step",
            "unit": "m",
            "usual": [0.45, 0.5, 0.6],
            "bounds": [0.25, 1.5],
        },
        {"name": "wide_m", "label": "width", "unit": "m", "usual": 1.5, "bounds": [0.6, 4.0]},
        {
            "name": "stone_m",
            "label": "depth of stone",
            "unit": "m",
            "usual": 0.1,
            "bounds": [0.0, 0.3],
        },
    ],
    "quantities": [
        {
            "name": "steps",
            "label": "steps",
            "unit": "no",
            "formula": "round_up(length_m / going_m)",
        },
        {"name": "sleepers", "label": "sleepers", "unit": "m", "formula": "steps * wide_m"},
        {
            "name": "stone",
            "label": "stone in the goings",
            "unit": "t",
            "formula": "length_m * wide_m * stone_m * 2.1[t/m³]",
            "source": "graded stone 2.1 t/m³ firm, from memory",
        },
    ],
    "lines": [
        {
            "key": "set",
            "category": "labour",
            "description": "Cut in and pin a sleeper",
            "quantity": "steps",
            "price": "labour-crew",
            "rate": "set_sleeper",
        },
        {
            "key": "sleeper",
            "category": "material",
            "description": "Oak sleeper, delivered",
            "quantity": "sleepers",
            "price": "sleeper-oak",
        },
        {
            "key": "stone",
            "category": "material",
            "description": "Path stone, delivered",
            "quantity": "stone",
            "price": "stone-sub_base",
        },
    ],
}
EXAMPLES: list[dict[str, dict[str, float]]] = [
    {"given": {"length_m": 6.0}, "expected": {"steps": 12, "sleepers": 18, "stone": 1.89}},
    {"given": {"length_m": 6.1, "wide_m": 2.0}, "expected": {"steps": 13, "sleepers": 26}},
]


def make_own_kind(club: Club, by: User) -> None:
    day = date(2026, 5, 4)
    source = "invented for the demonstration club"
    set_price(
        club=club, code="sleeper-oak", category="material", name="Oak sleeper, new", unit="m",
        low=Decimal("14.50"), likely=Decimal("17.20"), high=Decimal("22.00"), dated=day,
        source=source, by=by,
    )  # fmt: skip
    set_output_rate(
        club=club, code="set_sleeper", name="Cut in and pin a sleeper", unit="no",
        low=Decimal("0.8"), likely=Decimal("1.2"), high=Decimal("1.8"), dated=day, source=source,
        by=by,
    )  # fmt: skip
    keep_kind(club=club, definition=STEPS, examples=EXAMPLES, by=by)
