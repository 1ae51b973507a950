from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from worksprog.calc.laterals import DrainWish, WetGround, Wish
from worksprog.clubs.forms import number_field
from worksprog.course.models import Feature
from worksprog.drainage.bridge import short_name
from worksprog.drainage.models import LateralLayout

BORES_MM = (60, 80, 100, 150)


def _number(
    label: str, initial: float | None, help_text: str = "", *, required: bool = True
) -> forms.FloatField:
    return number_field(label, help_text, initial=initial, required=required)


class LateralsForm(forms.Form):
    """How laterals are to lie, in what soil, and on which carrier."""

    carrier = forms.ChoiceField(label="Carrier they join", required=False)
    pattern = forms.ChoiceField(
        label="Pattern", choices=LateralLayout.Pattern.choices, initial="parallel"
    )
    spacing_m = _number("Spacing (m)", 5.0)
    angle_to_fall_deg = _number(
        "Angle to the fall (°)", 45.0, "0 runs straight down the fall, 90 along the contour."
    )
    fall_bearing_deg = _number(
        "Bearing of the fall (°)",
        None,
        "Which way the ground falls, clockwise from grid north. Left empty, the ground tells it.",
        required=False,
    )
    edge_m = _number("Kept clear at the edge (m)", 0.5)
    least_m = _number("Shortest drain (m)", 3.0)
    carry_on_m = _number("May run on to the carrier (m)", 20.0)
    bore_mm = forms.TypedChoiceField(
        label="Lateral, inside diameter (mm)",
        choices=[(bore, str(bore)) for bore in BORES_MM],
        coerce=int,
        initial=80,
    )
    ks_mm = _number("Roughness ks (mm)", 1.5, "Corrugated drain pipe is rougher than smooth.")
    least_depth_m = _number("Least depth of the invert (m)", 0.6)
    least_one_in = _number("Flattest gradient, 1 in", 200.0)
    rate_mm_d = _number(
        "Water to lead away (mm a day)", 10.0, "7 to 12 on grass (from memory); sports turf more."
    )
    k_above_m_d = _number("Soil above the drains lets through (m a day)", 0.2)
    k_below_m_d = _number("Soil below the drains (m a day)", 0.02)
    barrier_m = _number("From the drains down to what holds water up (m)", 1.0)
    water_above_m = _number("Water may stand above the drains, half way (m)", 0.3)
    trench_m = _number("Trench width (m)", 0.15)
    backfill_m = _number("Height of permeable backfill (m)", 0.5)
    backfill_k_m_d = _number(
        "The backfill lets through (m a day)", 500.0, "Clean gravel passes hundreds (from memory)."
    )
    density_t_m3 = _number("Weight of the backfill (t/m³)", 1.6)

    def __init__(self, *args: Any, carriers: Sequence[Feature], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self._carriers = {str(row.uuid): row for row in carriers}
        carrier = self.fields["carrier"]
        assert isinstance(carrier, forms.ChoiceField)
        carrier.choices = [
            ("", "none yet"),
            *((key, f"{row.kind} {short_name(row)}") for key, row in self._carriers.items()),
        ]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if not self.errors:
            for field, make in (
                ("spacing_m", lambda: self.wish(0.0)),
                ("least_depth_m", self.drain),
                ("k_above_m_d", self.soil),
            ):
                try:
                    make()
                except (ValueError, ZeroDivisionError) as error:
                    self.add_error(field, str(error))
                    break
        return found

    @property
    def carrier_row(self) -> Feature | None:
        return self._carriers.get(self.cleaned_data["carrier"])

    def wish(self, ground_bearing_deg: float) -> Wish:
        given = self.cleaned_data
        bearing = given["fall_bearing_deg"]
        return Wish(
            pattern=given["pattern"],
            spacing_m=given["spacing_m"],
            angle_to_fall_deg=given["angle_to_fall_deg"],
            fall_bearing_deg=ground_bearing_deg if bearing is None else bearing,
            edge_m=given["edge_m"],
            least_m=given["least_m"],
            carry_on_m=given["carry_on_m"],
        )

    def drain(self) -> DrainWish:
        given = self.cleaned_data
        if given["least_one_in"] <= 0:
            raise ValueError("The flattest gradient is 1 in a number above 0.")
        return DrainWish(
            least_depth_m=given["least_depth_m"],
            least_gradient=1 / given["least_one_in"],
            bore_m=given["bore_mm"] / 1000,
            roughness_m=given["ks_mm"] / 1000,
            rate_mm_d=given["rate_mm_d"],
            spacing_m=given["spacing_m"],
        )

    def soil(self) -> WetGround:
        given = self.cleaned_data
        return WetGround(
            k_above_m_d=given["k_above_m_d"],
            k_below_m_d=given["k_below_m_d"],
            barrier_m=given["barrier_m"],
            radius_m=given["bore_mm"] / 2000,
            water_above_m=given["water_above_m"],
            rate_mm_d=given["rate_mm_d"],
        )
