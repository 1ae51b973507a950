"""The limits a manager gives a sizing."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.calc.sizing import SizingLimits
from worksprog.clubs.forms import number_field


def _number(label: str, initial: float, least: float, most: float, help_text: str = "") -> Any:
    return number_field(label, help_text, initial=initial, min_value=least, max_value=most)


class SizingForm(forms.Form):
    """Usual figures are common practice without a source, unless one is named."""

    least_cover_m = _number(
        "Least cover over the pipe (m)", 0.6, 0, 5, "Ground to the outside of the pipe, all along."
    )
    most_depth_m = _number("Greatest depth of the invert (m)", 2.5, 0.3, 10)
    least_velocity_ms = _number(
        "Least velocity, full bore (m/s)", 0.7, 0, 3,
        "0.7 keeps small drains clean (BS EN 16933-2, second-hand); 1.0 is asked of sewers.",
    )  # fmt: skip
    most_velocity_ms = _number("Greatest velocity, full bore (m/s)", 4.0, 0.5, 10)
    flattest_one_in = _number("Flattest gradient, 1 in", 500, 20, 5000)
    steepest_one_in = _number("Steepest gradient, 1 in", 10, 1, 200)
    spare_percent = _number("To spare, share of the capacity (%)", 10, 0, 90)
    matching = forms.ChoiceField(
        label="Where pipes meet",
        choices=[("invert", "no invert below the next"), ("crown", "no crown below the next")],
        initial="invert",
        help_text="Each pipe arrives at or above the invert, or the inside crown, of the next.",
    )
    inside_share = _number(
        "True inside over nominal bore", 0.97, 0.8, 1.0,
        "Least inside of bore-series pipes is 0.967 to 0.98 of the nominal (from memory); of "
        "pipes sold by their outside it may be 0.84.",
    )  # fmt: skip
    grid_mm = _number("Levels are tried every (mm)", 10, 2, 100)
    cover_free_m = _number("Beside outfalls and ditches no cover for (m)", 5, 0, 30)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    @classmethod
    def usual(cls) -> dict[str, Any]:
        return {name: field.initial for name, field in cls.base_fields.items()}

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if not self.errors:
            try:
                self.limits()
            except ValueError as error:
                raise forms.ValidationError(str(error)) from error
        return found

    def limits(self) -> SizingLimits:
        """ValueError in words when the figures do not go together."""
        given = self.cleaned_data
        return SizingLimits(
            least_cover_m=given["least_cover_m"],
            most_depth_m=given["most_depth_m"],
            least_velocity_ms=given["least_velocity_ms"],
            most_velocity_ms=given["most_velocity_ms"],
            least_gradient=1 / given["flattest_one_in"],
            most_gradient=1 / given["steepest_one_in"],
            matching=given["matching"],
            spare_share=given["spare_percent"] / 100,
            cover_free_m=given["cover_free_m"],
            grid_m=given["grid_mm"] / 1000,
        )
