from __future__ import annotations

from typing import Any

from django import forms

from worksprog.clubs.forms import number_field
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, Kind, State
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.services.as_built import Measured

_DAY = {"type": "date"}


def _metres(label: str, help_text: str = "", **more: Any) -> forms.FloatField:
    return number_field(label, help_text, required=False, **more)


def _day(label: str) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(format="%Y-%m-%d", attrs=_DAY))


class LevelForm(forms.Form):
    """A level in the place of a wrong one."""

    why = forms.CharField(
        label="Why", max_length=200, help_text="As misread, wrong drain chosen, laid again."
    )
    level_m = _metres("Level (m)", "Metres above datum; or leave it and fill the next two.")
    peg_level_m = _metres("Level of the peg (m)")
    below_peg_m = _metres("Depth below the peg (m)")
    of = forms.ChoiceField(label="Of", choices=AsBuiltLevel.Of.choices)
    chainage_m = _metres("Chainage (m)", "Along the drain from its upper end.")
    how = forms.ChoiceField(label="Taken by", choices=AsBuiltLevel.How.choices)
    level_accuracy_m = _metres("Level good to (± m)", min_value=0, max_value=10)
    measured_on = _day("Measured on")
    note = forms.CharField(max_length=300, required=False)

    def measured(self, wrong: AsBuiltLevel) -> Measured:
        given = dict(self.cleaned_data)
        given.pop("why")
        if given["chainage_m"] is None:
            given["place"] = (wrong.x_m, wrong.y_m)
            given["plan_accuracy_m"] = wrong.plan_accuracy_m
        return Measured(**given)


class CloseForm(forms.Form):
    """What lies in the trench, and that it is filled."""

    on = _day("Filled on")
    laid_by = forms.CharField(max_length=120, required=False, label="Laid by")
    material = forms.CharField(max_length=60, required=False)
    inside_diameter_mm = _metres("Inside diameter (mm)", "As laid, where it is not as drawn.")
    outside_diameter_mm = _metres("Outside diameter (mm)")
    bedding = forms.CharField(max_length=120, required=False)
    despite = forms.CharField(
        max_length=200,
        required=False,
        label="Closed all the same, because",
        help_text="Only where something stands against closing; it is kept.",
    )

    def facts(self) -> dict[str, Any]:
        """What was filled in; an empty field says nothing."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name not in ("on", "despite") and value not in (None, "")
        }


class LevelsFileForm(forms.Form):
    upload = forms.FileField(
        label="File",
        allow_empty_file=True,
        required=False,
        help_text="CSV with a heading row: chainage, or easting and northing in the club's grid; "
        "level; of (invert, crown, bed, cover); drain (its reference).",
    )
    drain = forms.ChoiceField(
        label="All on one drain", required=False, help_text="For a file that names none."
    )
    measured_on = _day("Measured on")
    level_accuracy_m = _metres("Levels good to (± m)", min_value=0, max_value=10)
    plan_accuracy_m = _metres("Positions good to (± m)", min_value=0, max_value=100)
    text = forms.CharField(required=False, widget=forms.HiddenInput, strip=False)
    file_name = forms.CharField(required=False, max_length=200, widget=forms.HiddenInput)

    def __init__(self, *args: Any, drains: list[Feature], **more: Any) -> None:
        super().__init__(*args, **more)
        self.drains = drains
        field = self.fields["drain"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            ("", "by reference or position"),
            *((str(one.uuid), f"{one.ref or one.title}, {one.length_m:.0f} m") for one in drains),
        ]

    @property
    def only(self) -> Feature | None:
        chosen = self.cleaned_data.get("drain")
        return next((one for one in self.drains if str(one.uuid) == chosen), None)


class RegisterForm(forms.Form):
    kind = forms.ChoiceField(
        required=False,
        choices=[
            ("", "all kinds"),
            *((k, Kind(k).label) for k in sorted(DRAIN_LINES | DRAIN_NODES)),
        ],
    )
    state = forms.ChoiceField(required=False, choices=[("", "all states"), *State.choices])
    levels = forms.ChoiceField(
        required=False,
        label="Levels",
        choices=[
            ("", "all"),
            ("built", "as built"),
            ("entered", "by design or entry only"),
            ("none", "without levels"),
        ],
    )
    words = forms.CharField(required=False, max_length=60, label="Reference or name")


def club_drains(club: Club) -> list[Feature]:
    """Pipes and ditches that are not removed, by reference."""
    rows = Feature.objects.filter(club=club, kind__in=DRAIN_LINES).exclude(state=State.REMOVED)
    return list(rows.select_related("reach").order_by("ref", "pk"))
