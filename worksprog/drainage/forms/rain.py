"""Forms of rain: tables, gauge records, several days, what runs off and what may be let out."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.calc.rainfall import Greenfield, Ground
from worksprog.calc.rainfall.runoff import GROWTH_100, SOIL_BY_CLASS, SOIL_WORDS
from worksprog.clubs.forms import take_any_fineness
from worksprog.drainage.forms.water import read_days

MOST_BYTES = 2 * 1024 * 1024
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


class SheetForm(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        take_any_fineness(self.fields.values())


class TextOrFileForm(SheetForm):
    """A text that is pasted, or brought as a file; what was read stays in the text."""

    upload = forms.FileField(label="or a file (CSV)", required=False, allow_empty_file=True)

    def brought(self, pasted: str) -> str:
        """The file's text where one was chosen, else what was pasted. ValidationError in words."""
        upload = self.cleaned_data.get("upload")
        if upload is None:
            return pasted
        if upload.size > MOST_BYTES:
            raise forms.ValidationError(
                f"The file has {upload.size / 1_048_576:.1f} MB; 2 MB is the most."
            )
        data = upload.read()
        if b"\x00" in data:
            raise forms.ValidationError("The file is binary, not a text table.")
        try:
            return str(data.decode("utf-8-sig"))
        except UnicodeDecodeError:
            return str(data.decode("latin-1"))

    def with_text(self, text: str) -> None:
        """Put the file's text into the field, so that nothing is lost when it has to be mended."""
        self.data = {**self.data.dict(), "text": text}  # type: ignore[attr-defined]


class TableForm(TextOrFileForm):
    name = forms.CharField(label="Name", max_length=80)
    source = forms.CharField(
        label="Source",
        max_length=200,
        required=False,
        help_text="Where the depths come from. It stands in the working of every flow.",
    )
    text = forms.CharField(
        label="Depths (mm)",
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 12, "class": "fig", "spellcheck": "false"}),
        help_text="Paste from a sheet, or type: first line “duration, 2, 10, 30” (return periods in "
        "years), then one line a duration, as “15 min, 9.1, 14.0, 18.2”. Minutes, h or days.",
    )
    field_order = ("name", "source", "text", "upload")


class GaugeForm(TextOrFileForm):
    name = forms.CharField(label="Name", max_length=80, help_text="As the gauge at the yard.")
    source = forms.CharField(label="Source", max_length=200, required=False)
    year_begins = forms.TypedChoiceField(
        label="The year begins in",
        coerce=int,
        initial=1,
        choices=list(enumerate(MONTHS, start=1)),
        help_text="For rain by day. January: calendar years. October: water years, named by the "
        "year they end in, so that a wet winter is not cut in two.",
    )
    text = forms.CharField(
        label="Record (mm)",
        required=False,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 12, "class": "fig", "spellcheck": "false"}),
        help_text="Rain by day: “2019-01-04, 3.2” a line. Or the most of each year: first line "
        "“year, 15 min, 1 h, 1 day”, then “1998, 9.2, 15.0, 31.4”.",
    )
    field_order = ("name", "source", "year_begins", "text", "upload")


class FitForm(SheetForm):
    """Which curve is looked at; a GET."""

    law = forms.ChoiceField(
        label="Law",
        choices=[("gumbel", "Gumbel"), ("gev", "generalised extreme value (GEV)")],
        required=False,
    )
    duration = forms.TypedChoiceField(
        label="Duration", coerce=int, required=False, empty_value=None
    )

    def __init__(self, *args: Any, durations: list[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["duration"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = durations


class DaysForm(SheetForm):
    """Several days of rain on soaked ground."""

    days_mm = forms.CharField(
        label="Rain of each day (mm)",
        help_text="From the first day on, as “12 26 31 21 10”: over 100 mm in four to five days is "
        "the trade's own test (common practice, no source).",
    )
    dry_days = forms.IntegerField(label="Dry days after it", min_value=0, max_value=30)
    area_ha = forms.FloatField(label="Area (ha)", min_value=0.001)
    runoff_share = forms.FloatField(
        label="Share that runs off at once",
        min_value=0.01,
        max_value=1,
        help_text="0.4 to 0.6 on soaked clay.",
    )
    room_mm = forms.FloatField(
        label="Room in the soil before (mm)",
        min_value=0,
        help_text="0 when it is soaked; the store of 300 mm of drained loam is 30 to 60 mm "
        "(common practice, no source).",
    )
    soil_gives_mm_d = forms.FloatField(
        label="Soil gives to its drains (mm a day)",
        min_value=0,
        help_text="What laterals are laid for: 7 to 12 mm a day for grass in the United Kingdom "
        "(from memory).",
    )
    dries_mm_d = forms.FloatField(
        label="Evaporation (mm a day)", min_value=0, help_text="0 to 0.5 in winter."
    )
    drain_l_s = forms.FloatField(label="The drain passes (l/s)", min_value=0)

    def clean_days_mm(self) -> list[float]:
        return read_days(self.cleaned_data["days_mm"])

    def ground(self) -> Ground:
        given = self.cleaned_data
        return Ground(
            area_ha=given["area_ha"],
            runoff_share=given["runoff_share"],
            room_mm=given["room_mm"],
            soil_gives_mm_d=given["soil_gives_mm_d"],
            dries_mm_d=given["dries_mm_d"],
            drain_m3s=given["drain_l_s"] / 1000,
        )


class LetOutForm(SheetForm):
    """The ground above an outfall, for the greenfield rate and what must be held back."""

    area_ha = forms.FloatField(label="Area that drains to the outfall (ha)", min_value=0.001)
    saar_mm = forms.FloatField(
        label="Average annual rain (mm)",
        help_text="SAAR of 1941-70; that of 1961-90 is practically the same.",
    )
    soil_class = forms.TypedChoiceField(
        label="Soil class", coerce=int, choices=list(SOIL_WORDS.items())
    )
    region = forms.ChoiceField(
        label="Hydrological region",
        required=False,
        choices=[("", "leave the growth curve out"), *((one, one) for one in GROWTH_100)],
        help_text="Growth factors are from memory: look them up before they are relied on.",
    )
    coefficient = forms.FloatField(
        label="Share that runs off",
        min_value=0.01,
        max_value=1,
        help_text="After the works, for the water to be held back.",
    )

    def greenfield(self) -> Greenfield:
        given = self.cleaned_data
        return Greenfield(
            given["area_ha"],
            given["saar_mm"],
            SOIL_BY_CLASS[given["soil_class"]],
            given["region"],
        )


class TimesForm(SheetForm):
    """One way over the ground, for all the formulas."""

    length_m = forms.FloatField(
        label="Longest way over the ground (m)", min_value=0.1, max_value=50_000
    )
    fall_m = forms.FloatField(label="Its fall (m)", min_value=0.001)
    area_ha = forms.FloatField(label="Catchment (ha)", min_value=0.001)
    curve_number = forms.FloatField(label="Curve number", min_value=30, max_value=100)
    rain_mm = forms.FloatField(label="Rain of the storm (mm)", min_value=0.1, max_value=2000)
