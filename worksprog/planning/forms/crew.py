"""Forms of the people of the crew, their absences and the allowance for sickness."""

from __future__ import annotations

from calendar import day_name
from typing import Any

from django import forms

from worksprog.planning.forms.plans import _ModelSheetForm
from worksprog.planning.models import Absence, CrewMember, PlanRules

DATE = {"type": "date"}
MOST_SKILLS = 12


class CrewMemberForm(_ModelSheetForm):
    grade_name = forms.CharField(
        label="Grade", max_length=60, help_text="As head greenkeeper, greenkeeper, seasonal hand."
    )
    skills_told = forms.CharField(
        label="Skills",
        max_length=300,
        required=False,
        help_text="With commas between: digger, chainsaw, pipe laying.",
    )
    own_days = forms.TypedMultipleChoiceField(
        label="Works on",
        choices=list(enumerate(day_name)),
        coerce=int,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None ticked: the days on which works go on.",
    )

    class Meta:
        model = CrewMember
        fields = ["name", "day_h", "employed_from", "employed_to"]
        labels = {
            "name": "Name",
            "day_h": "Hours on a working day",
            "employed_from": "First day of employment",
            "employed_to": "Last day of employment",
        }
        widgets = {
            "employed_from": forms.DateInput(attrs=DATE, format="%Y-%m-%d"),
            "employed_to": forms.DateInput(attrs=DATE, format="%Y-%m-%d"),
        }

    field_order = ["name", "grade_name", "skills_told", "day_h", "own_days"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.initial["grade_name"] = self.instance.grade.name
            self.initial["skills_told"] = ", ".join(self.instance.skills)
            self.initial["own_days"] = self.instance.weekdays

    def clean_skills_told(self) -> str:
        told: str = self.cleaned_data["skills_told"]
        skills = list(dict.fromkeys(" ".join(one.lower().split()) for one in told.split(",")))
        skills = [skill for skill in skills if skill]
        if len(skills) > MOST_SKILLS:
            raise forms.ValidationError(f"At most {MOST_SKILLS} skills; these are {len(skills)}.")
        self.instance.skills = skills
        return told

    def clean_own_days(self) -> list[int]:
        days: list[int] = sorted(self.cleaned_data["own_days"])
        self.instance.weekdays = days
        return days


class AbsenceForm(_ModelSheetForm):
    class Meta:
        model = Absence
        fields = ["member", "why", "from_date", "to_date", "note"]
        labels = {
            "member": "Who",
            "why": "Why",
            "from_date": "First day away",
            "to_date": "Last day away",
            "note": "Note",
        }
        widgets = {
            "from_date": forms.DateInput(attrs=DATE, format="%Y-%m-%d"),
            "to_date": forms.DateInput(attrs=DATE, format="%Y-%m-%d"),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        member = self.fields["member"]
        assert isinstance(member, forms.ModelChoiceField)
        member.queryset = CrewMember.objects.filter(club=self.instance.club)
        member.empty_label = "The whole crew"


class SicknessForm(_ModelSheetForm):
    class Meta:
        model = PlanRules
        fields = ["sickness_percent"]
