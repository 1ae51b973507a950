"""Forms of the costs by year."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from worksprog.calc.estimate_classes import CLASSES
from worksprog.clubs.forms import SheetForm


class AllowancesForm(SheetForm):
    design_allowance_percent = forms.DecimalField(
        label="Design allowance, % of the base",
        min_value=0,
        max_value=100,
        max_digits=5,
        decimal_places=2,
        help_text="For what the design does not show yet. It is not for what may go wrong.",
    )
    contingency_percent = forms.DecimalField(
        label="Chance that the money suffices, %",
        min_value=50,
        max_value=99,
        max_digits=2,
        decimal_places=0,
        help_text="The contingency is what has to be kept back on top of the base for that.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if "contingency_percent" in cleaned:
            cleaned["contingency_chance"] = cleaned["contingency_percent"] / Decimal(100)
        return cleaned


class ClassForm(SheetForm):
    number = forms.TypedChoiceField(label="Class", coerce=int, empty_value=None, required=False)

    def __init__(self, *args: Any, proposed: int, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["number"].choices = [  # type: ignore[attr-defined]
            ("", f"as proposed, {proposed}"),
            *((str(one.number), f"{one.number}: {one.words}") for one in CLASSES.values()),
        ]
