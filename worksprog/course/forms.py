from __future__ import annotations

import re
from typing import Any

import shapely
from django import forms
from shapely.geometry.base import BaseGeometry

from worksprog.calc import grid
from worksprog.clubs.models import Club
from worksprog.course.models import SHAPES, Feature, Hole, Kind, State, Survey
from worksprog.course.queries import coordinates_text

FURTHEST_M = 1e8  # more than once round the Earth
_WANTED = "expected easting, northing in metres, such as “451230.50, 287410.25”"


def _number(text: str) -> float:
    # "451230,5" where the decimal sign is a comma; a point and a comma together say nothing sure.
    if "," in text and "." in text:
        raise ValueError(text)
    return float(text.replace(",", "."))


def read_points(text: str) -> list[list[tuple[float, float]]]:
    """Easting and northing from typed lines, in groups parted by empty lines.

    Raises ValueError that names the line.
    """
    groups: list[list[tuple[float, float]]] = [[]]
    for number, line in enumerate(text.strip().splitlines(), start=1):
        line = line.strip()
        if not line:
            if groups[-1]:
                groups.append([])
            continue
        parts = [part.rstrip(",") for part in re.split(r"[;\s]+", line) if part != ","]
        if len(parts) == 1:
            parts = parts[0].split(",")
        try:
            east, north = (_number(part) for part in parts)
        except ValueError as error:
            raise ValueError(f"Line {number} reads “{line[:60]}”; {_WANTED}.") from error
        if not max(abs(east), abs(north)) < FURTHEST_M:
            raise ValueError(
                f"Line {number} reads “{line[:60]}”; no grid reaches that far: {_WANTED}."
            )
        groups[-1].append((east, north))
    return [group for group in groups if group]


def shape_from_points(kind: str, text: str) -> BaseGeometry:
    """A shape of the sort that the kind takes, from typed easting and northing.

    Raises ValueError with words for the person who typed.
    """
    rings = read_points(text)
    shape = SHAPES[kind]
    count = sum(len(ring) for ring in rings)
    if shape == "Point":
        if count != 1:
            raise ValueError(f"One point is wanted here, {count} are given.")
        return shapely.Point(rings[0][0])
    if shape == "LineString":
        if len(rings) > 1:
            raise ValueError("An empty line parts the points; a line is one run of points.")
        if count < 2:
            raise ValueError("A line needs two points or more, one a line.")
        return shapely.LineString(rings[0])
    if not rings or any(len(ring) < 3 for ring in rings):
        raise ValueError("An area needs three points or more, one a line.")
    return shapely.Polygon(rings[0], rings[1:])


def sound(shape: BaseGeometry) -> BaseGeometry:
    """The shape itself. ValueError in words for one that cannot be drawn on the ground."""
    if not shape.is_valid:
        raise ValueError(f"The shape {grid.why_unsound(shape)}.")
    return shape


def _number_of(obj: Any) -> str:
    return str(obj.number)


class FeatureForm(forms.ModelForm[Feature]):
    """What is said of a feature; its shape either drawn (GeoJSON) or typed in the club's grid."""

    geometry = forms.CharField(required=False, widget=forms.HiddenInput)
    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    coordinates = forms.CharField(
        label="Points, easting and northing (m)",
        required=False,
        widget=forms.Textarea(attrs={"rows": 5, "spellcheck": "false", "class": "points"}),
        help_text="One point a line. An empty line begins an inner ring of an area.",
    )

    class Meta:
        model = Feature
        fields = [
            *("kind", "ref", "name", "state", "state_date", "holes", "source", "survey"),
            *("accuracy_m", "width_m", "stems", "diameter_cm", "height_m", "notes"),
        ]
        widgets = {
            "state_date": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "holes": forms.CheckboxSelectMultiple,
            "notes": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {
            "width_m": "Of a path, a ditch at the top, a hedge, a tree's crown.",
            "stems": "How many trees stand in a wood or group.",
            "diameter_cm": "Of a tree, or the mean of a wood's stems: 1.3 m above the ground.",
            "height_m": "Of a tree, a wood's mean tree, a hedge or a mound.",
        }

    shape: BaseGeometry | None = None

    def __init__(self, *args: Any, club: Club, drawing: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.club, self.drawing, self.label_suffix = club, drawing, ""
        holes = self.fields["holes"]
        survey = self.fields["survey"]
        assert isinstance(holes, forms.ModelMultipleChoiceField)
        assert isinstance(survey, forms.ModelChoiceField)
        holes.queryset = Hole.objects.filter(club=club)
        holes.label_from_instance = _number_of  # type: ignore[method-assign]
        survey.queryset = Survey.objects.filter(club=club).defer("points")
        survey.empty_label = "none"
        if not drawing:
            same = SHAPES[self.instance.kind]
            kind = self.fields["kind"]
            assert isinstance(kind, forms.ChoiceField)
            kind.choices = [(k.value, k.label) for k in Kind if SHAPES[k] == same]
            self.initial["coordinates"] = coordinates_text(self.instance.geometry)

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        kind = told.get("kind")
        if not kind:
            return told
        drawn, typed = told.get("geometry"), told.get("coordinates", "")
        try:
            if drawn:
                self.shape = grid.geometry_from_geojson(drawn, self.club.epsg)
            elif typed and (self.drawing or "coordinates" in self.changed_data):
                self.shape = sound(shape_from_points(kind, typed))
            elif self.drawing:
                raise ValueError("Draw it on the map, or type its points here.")
            elif not typed:
                raise ValueError("A feature needs its points; the old ones are still kept.")
        except ValueError as error:
            self.add_error("coordinates", str(error))
        return told

    def facts(self) -> dict[str, Any]:
        """What the services are given, the shape only when it was changed."""
        told = {name: self.cleaned_data[name] for name in self.Meta.fields}
        if self.shape is not None:
            told["geometry"] = self.shape
        return told


class StateForm(forms.Form):
    state = forms.ChoiceField(choices=State.choices)
    on = forms.DateField(label="since")
    seen = forms.CharField()


class HoleForm(forms.ModelForm[Hole]):
    class Meta:
        model = Hole
        fields = ["number", "name", "par", "length_m", "loop"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
