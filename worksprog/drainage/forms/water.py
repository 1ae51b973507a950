from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from django import forms

from worksprog.clubs.forms import number_field
from worksprog.course.models import Feature
from worksprog.drainage.bridge import short_name
from worksprog.drainage.models import DesignStorm, PondOutlet
from worksprog.drainage.queries.water import RainWish, rain_of
from worksprog.drainage.services.water import OutletWish

MOST_STAGES = 200
OUTLET_ROWS = 4


class PondForm(forms.Form):
    """Levels and stages of one pond."""

    bank_level_m = number_field(
        "Lowest level of the bank (m)",
        "Where water would first come over. Left empty, the highest stage.",
        required=False,
    )
    resting_level_m = number_field(
        "Usual water level (m)",
        "Before the rain. Left empty, the lowest outlet.",
        required=False,
    )
    stages = forms.CharField(
        label="Stages",
        widget=forms.Textarea(attrs={"rows": 10, "class": "fig"}),
        help_text="One a line, rising: level (m) and water surface (m²).",
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    def clean_stages(self) -> list[tuple[float, float]]:
        rows = []
        lines = self.cleaned_data["stages"].splitlines()
        for number, line in enumerate(lines, start=1):
            parts = [part for part in re.split(r"[\s;,|]+", line.strip()) if part]
            if not parts:
                continue
            try:
                level, area = (float(part) for part in parts)
            except ValueError:
                raise forms.ValidationError(
                    f"Line {number}: a level and an area were expected, as 51.20 840; "
                    f"“{line.strip()[:60]}” was entered."
                ) from None
            rows.append((level, area))
        if len(rows) > MOST_STAGES:
            raise forms.ValidationError(f"At most {MOST_STAGES} stages are taken.")
        return rows


class OutletForm(forms.Form):
    """One row of a pond's outlets; without a kind it is none."""

    kind = forms.ChoiceField(
        label="Kind", required=False, choices=[("", "none"), *PondOutlet.Kind.choices]
    )
    level_m = number_field("Invert or crest (m)", required=False)
    diameter_mm = number_field("Inside diameter (mm)", required=False, min_value=10)
    width_m = number_field("Width of the crest (m)", required=False, min_value=0.05)
    reach = forms.ChoiceField(label="Gives into", required=False)

    def __init__(self, *args: Any, drains: Sequence[Feature], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self._drains = {str(row.uuid): row for row in drains}
        reach = self.fields["reach"]
        assert isinstance(reach, forms.ChoiceField)
        reach.choices = [
            ("", "the drain that starts at the pond"),
            *((key, f"{row.kind} {short_name(row)}") for key, row in self._drains.items()),
        ]

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        kind = found.get("kind")
        if kind and not self.errors:
            size = "width_m" if kind == PondOutlet.Kind.WEIR else "diameter_mm"
            for name in ("level_m", size):
                if found.get(name) is None:
                    self.add_error(name, "Needed for this kind.")
        return found

    def wish(self) -> OutletWish | None:
        given = self.cleaned_data
        if not given["kind"]:
            return None
        weir = given["kind"] == PondOutlet.Kind.WEIR
        return OutletWish(
            kind=given["kind"],
            level_m=given["level_m"],
            diameter_mm=None if weir else given["diameter_mm"],
            width_m=given["width_m"] if weir else None,
            reach=self._drains.get(given["reach"]),
        )


class StagesForm(forms.Form):
    """How a table of stages is to be made."""

    make = forms.ChoiceField(
        label="Made from",
        choices=[("outline", "its outline and even sides"), ("ground", "the ground inside it")],
    )
    bank_m = number_field(
        "Bank (m)", "Left empty, the lowest ground along the outline.", required=False
    )
    depth_m = number_field("Depth, bank to bed (m)", initial=1.5, required=False)
    side_slope = number_field("Sides, across per 1 down", initial=3.0, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


def read_days(text: str) -> list[float]:
    """Rain of days in mm. ValidationError naming the day, or where a comma can mean two things."""
    unsure = re.search(r"(?<![\d.])\d+(?:,\d+)+(?![\d.])", text)
    if unsure:
        one = unsure[0]
        days = one.split(",")
        raise forms.ValidationError(
            f"“{one[:30]}” can be read as {len(days)} days ({', '.join(days)[:40]} mm) or with "
            f"a decimal comma ({days[0]}.{days[1]} mm). Put a space between days and a point in "
            f"decimals, as {' '.join(days)[:40]} or {days[0]}.{days[1]}."
        )
    found = []
    for number, part in enumerate((one for one in re.split(r"[\s;,|]+", text) if one), start=1):
        try:
            found.append(float(part))
        except ValueError:
            raise forms.ValidationError(
                f"Day {number}: a number of mm was expected; “{part[:20]}” was entered."
            ) from None
    return found


class ThroughForm(forms.Form):
    """Which rain is led through the network."""

    kind = forms.ChoiceField(
        label="Rain", choices=[("storm", "the design storm"), ("days", "days of rain")]
    )
    duration_h = number_field(
        "Storm: how long it lasts (h)", initial=1.0, min_value=0.05, max_value=168
    )
    days_mm = forms.CharField(
        label="Days: rain of each day (mm)",
        required=False,
        initial="10, 25, 30, 20, 15",
        help_text="Day after day, as 10, 25, 30. 100 mm in four to five days is the trade's own "
        "test of a course (common practice, no source).",
    )
    half_in_h = forms.TypedChoiceField(
        label="Days: how each day's rain falls",
        required=False,
        coerce=float,
        empty_value=None,
        choices=[("", "evenly over its 24 h"), (8, "half of it in 8 h"), (4, "half of it in 4 h")],
        help_text="Evenly is the mildest: a day with its rain in a few hours loads drains more.",
    )
    after_h = number_field(
        "Time to run off after it (h)", initial=24.0, min_value=0.1, max_value=720
    )
    step_min = forms.TypedChoiceField(
        label="Step", coerce=float, choices=[(0.5, "½ min"), (1, "1 min"), (5, "5 min")], initial=1
    )
    share = number_field(
        "Share that runs off, everywhere",
        "0 to 1. Left empty, as entered for each catchment. A clay that days of rain have soaked "
        "lets about half run off, and more.",
        required=False,
        min_value=0.01,
        max_value=1,
    )
    place = forms.ChoiceField(label="Show the flow in", required=False)

    def __init__(
        self, *args: Any, storm: DesignStorm, drains: Sequence[Feature], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self._storm = storm
        place = self.fields["place"]
        assert isinstance(place, forms.ChoiceField)
        place.choices = [
            ("", "what is too small, and the outfalls"),
            *((str(row.uuid), f"{row.kind} {short_name(row)}") for row in drains),
        ]

    def clean_days_mm(self) -> tuple[float, ...]:
        if self.cleaned_data.get("kind") != "days":
            return ()
        return tuple(read_days(self.cleaned_data["days_mm"]))

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if not self.errors:
            try:
                rain_of(self.wish(), self._storm)
            except ValueError as error:
                self.add_error("days_mm" if found["kind"] == "days" else "duration_h", str(error))
        return found

    def wish(self) -> RainWish:
        given = self.cleaned_data
        return RainWish(
            kind=given["kind"],
            duration_h=given["duration_h"],
            days_mm=given["days_mm"],
            after_h=given["after_h"],
            step_s=given["step_min"] * 60,
            share=given["share"],
            place=given["place"],
            half_in_h=given["half_in_h"],
        )
