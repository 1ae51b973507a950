"""What is asked about a survey file and about the ground."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from worksprog.clubs.models import Club
from worksprog.course.models import Kind, State, Survey

_DAY = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class SurveyFileForm(forms.Form):
    what = forms.ChoiceField(
        label="What the file holds",
        choices=Survey.What.choices,
        widget=forms.RadioSelect,
        help_text="Spot heights: CSV. Features: GeoPackage, GeoJSON, zipped Shapefile or DXF. "
        "Ground as a grid: GeoTIFF or ASCII grid.",
    )
    upload = forms.FileField(label="File", allow_empty_file=True)
    name = forms.CharField(
        max_length=120, help_text="As the club speaks of it: Brook survey, March 2026."
    )
    surveyed_on = forms.DateField(label="Surveyed on", widget=_DAY)
    surveyor = forms.CharField(max_length=120, required=False, label="Surveyed by")
    level_accuracy_m = forms.DecimalField(
        label="Levels good to (± m)",
        min_value=0,
        max_value=50,
        max_digits=6,
        decimal_places=3,
        required=False,
    )
    plan_accuracy_m = forms.DecimalField(
        label="Positions good to (± m)",
        min_value=0,
        max_value=50,
        max_digits=6,
        decimal_places=3,
        required=False,
    )

    def __init__(self, *args: Any, club: Club, **more: Any) -> None:
        super().__init__(*args, **more)
        self.club = club
        self.fields["upload"].help_text = (
            f"In the club's grid, EPSG {club.epsg}, unless the file itself says otherwise. "
            "What was read is shown on the map before anything is saved."
        )

    def clean_surveyed_on(self) -> Any:
        day = self.cleaned_data["surveyed_on"]
        if day > self.club.today():
            raise ValidationError("A survey cannot be from a day that is still to come.")
        return day


class MappingForm(forms.Form):
    """One pair of fields for each layer of a file, numbered as the layers are."""

    def __init__(self, *args: Any, layers: list[dict[str, Any]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.layers = layers
        for number, layer in enumerate(layers):
            self.fields[f"kind-{number}"] = forms.ChoiceField(
                choices=[("", "leave out"), *Kind.choices],
                required=False,
                initial=layer["kind"],
                label=f"Kind of layer {layer['name']}",
            )
            self.fields[f"state-{number}"] = forms.ChoiceField(
                choices=State.choices,
                initial=layer["state"],
                label=f"State of layer {layer['name']}",
            )

    def rows(self) -> list[dict[str, Any]]:
        return [
            {**layer, "kind_field": self[f"kind-{number}"], "state_field": self[f"state-{number}"]}
            for number, layer in enumerate(self.layers)
        ]

    def mapping(self) -> dict[str, tuple[str, str]]:
        return {
            layer["name"]: (
                self.cleaned_data[f"kind-{number}"],
                self.cleaned_data[f"state-{number}"],
            )
            for number, layer in enumerate(self.layers)
        }


class GroundForm(forms.Form):
    surveys = forms.ModelMultipleChoiceField(
        queryset=Survey.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        label="Surveys to make it of",
        to_field_name="uuid",
    )
    contour_step_m = forms.FloatField(
        label="Step between contours (m)",
        min_value=0.05,
        max_value=50,
        required=False,
        help_text="Left empty, it is chosen by how high the course rises.",
    )

    def __init__(self, *args: Any, club: Club, **more: Any) -> None:
        super().__init__(*args, **more)
        surveys = self.fields["surveys"]
        assert isinstance(surveys, forms.ModelMultipleChoiceField)
        surveys.queryset = (
            Survey.objects.filter(club=club)
            .exclude(what=Survey.What.FEATURES)
            .defer("points", "reading")
        )


class ContourForm(forms.Form):
    contour_step_m = forms.FloatField(
        label="Step between contours (m)", min_value=0.05, max_value=50
    )


class FallForm(forms.Form):
    """Two places in the club's grid, typed or taken from the map."""

    ae = forms.FloatField(label="From: easting")
    an = forms.FloatField(label="From: northing")
    be = forms.FloatField(label="To: easting")
    bn = forms.FloatField(label="To: northing")
