"""What a reader may set of a winter's spoil balance; nothing of it is kept."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.calc.earth_balance import CARRIERS
from worksprog.calc.soils import SOILS
from worksprog.clubs.forms import number_field
from worksprog.works.queries.spoil_parts import SpoilWish

AS_ESTIMATED, ALL_OFF = "estimates", "off"


class SpoilForm(forms.Form):
    """Usual figures are common practice without a source, unless one is named."""

    ground = forms.ChoiceField(
        label="Kind of ground",
        choices=[
            (key, soil.name)
            for key, soil in SOILS.items()
            if soil.fit_for_fill and key != "topsoil"
        ],
        initial="clay",
        help_text="How it swells and firms up; an item with its own bulking keeps that.",
    )
    carrier = forms.ChoiceField(
        label="Carried by",
        choices=[
            (key, f"{one.name}, {one.body_m3:g} m³, {one.payload_t:g} t")
            for key, one in CARRIERS.items()
        ],
        initial="trailer",
        help_text="A load is what the body holds or the weight allows, whichever is less.",
    )
    longest_haul_m = number_field(
        "No haul further than (m)",
        "Empty: as far as it takes.",
        initial=None,
        min_value=10,
        max_value=20_000,
        required=False,
    )
    rest = forms.ChoiceField(
        label="What no fill takes",
        choices=[
            (AS_ESTIMATED, "spread or carted as the estimates say"),
            (ALL_OFF, "all leaves the course"),
        ],
        initial=AS_ESTIMATED,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    @classmethod
    def usual(cls) -> dict[str, Any]:
        return {name: field.initial for name, field in cls.base_fields.items()}

    def wish(self) -> SpoilWish:
        """Of a form that was read and found good."""
        data = self.cleaned_data
        return SpoilWish(
            ground=data["ground"],
            carrier=data["carrier"],
            longest_haul_m=data["longest_haul_m"],
            spread_share=0.0 if data["rest"] == ALL_OFF else None,
        )
