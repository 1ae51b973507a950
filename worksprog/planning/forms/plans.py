from __future__ import annotations

from calendar import month_name
from itertools import permutations
from typing import Any

from django import forms

from worksprog.calc.workdays import WEEKS_IN_PATTERN
from worksprog.clubs.forms import SheetForm
from worksprog.planning.goals import GOALS, in_full
from worksprog.planning.models import Closure, ItemPlanning, PlanRules, WorkWindow
from worksprog.works.recipes import kinds_of

MOST_HOURS = 100_000
MONTHS = [(number, month_name[number]) for number in range(1, 13)]


class _ModelSheetForm(forms.ModelForm[Any]):
    """Its fields' ids begin with the form's name: several forms stand on one page."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"{type(self).__name__.lower()}_%s")
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class WindowForm(_ModelSheetForm):
    kind = forms.ChoiceField(label="Kind of work")
    from_month = forms.TypedChoiceField(label="month", choices=MONTHS, coerce=int)
    to_month = forms.TypedChoiceField(label="month", choices=MONTHS, coerce=int)

    class Meta:
        model = WorkWindow
        fields = ["kind", "from_day", "from_month", "to_day", "to_month", "reason", "is_firm"]
        labels = {
            "from_day": "Opens on day",
            "to_day": "Closes after day",
            "reason": "Why the rest of the year is closed",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = self.fields["kind"]
        assert isinstance(kind, forms.ChoiceField)
        kind.choices = kinds_of(self.instance.club)


class ClosureForm(_ModelSheetForm):
    class Meta:
        model = Closure
        fields = ["name", "from_date", "to_date"]
        labels = {"name": "What it is", "from_date": "First day", "to_date": "Last day"}
        widgets = {
            "from_date": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "to_date": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        }


class RulesForm(_ModelSheetForm):
    class Meta:
        model = PlanRules
        fields = ["gang", "works_saturday", "works_sunday"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["first_goals"] = ",".join(in_full(self.instance.goals))

    first_goals = forms.ChoiceField(
        label="What counts first in a plan",
        choices=[
            (",".join(order), ", then ".join(GOALS[goal] for goal in order))
            for order in permutations(GOALS)
        ],
        help_text="After the order of the projects; each counts twice what follows it.",
        required=False,
    )

    def clean_first_goals(self) -> str:
        told: str = self.cleaned_data["first_goals"]
        if told:
            self.instance.goals = told.split(",")
        return told


class ItemPlanningForm(_ModelSheetForm):
    class Meta:
        model = ItemPlanning
        fields = ["gang", "least_days", "may_spread", "promised_by"]
        widgets = {"promised_by": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}


class _NamedSheetForm(SheetForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"{type(self).__name__.lower()}_%s")
        super().__init__(*args, **kwargs)


class BandForm(_NamedSheetForm):
    """Weeks of the usual year that are alike."""

    from_week = forms.IntegerField(label="From week", min_value=1, max_value=WEEKS_IN_PATTERN)
    to_week = forms.IntegerField(label="to week", min_value=1, max_value=WEEKS_IN_PATTERN)
    crew_h = forms.FloatField(
        label="Crew hours a week", min_value=0, max_value=5000, help_text="The whole crew."
    )
    routine_h = forms.FloatField(
        label="Routine hours a week",
        min_value=0,
        max_value=5000,
        help_text="Mowing, raking, leaves, matches.",
    )
    note = forms.CharField(label="What the routine work is", max_length=120, required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("from_week"), data.get("to_week")
        if first and last and last < first:
            self.add_error("to_week", f"Week {last} is before week {first}.")
        crew, routine = data.get("crew_h"), data.get("routine_h")
        if crew is not None and routine is not None and routine > crew:
            self.add_error(
                "routine_h", f"Routine work takes {routine:g} h, the crew has {crew:g} h."
            )
        return data


class UsualYearForm(_NamedSheetForm):
    crew_h = forms.FloatField(
        label="Hours the whole crew works in a week",
        min_value=1,
        max_value=5000,
        help_text="Six people at 37 hours are 222.",
    )


class BaselineForm(_NamedSheetForm):
    name = forms.CharField(
        label="Keep this plan as a baseline named", max_length=80, help_text="As “Agreed May 2026”."
    )


class TryForm(_NamedSheetForm):
    """Other hours for one job, to see what would move; nothing is kept."""

    item = forms.ChoiceField(
        label="Job",
        error_messages={
            "required": "Choose the job to try other hours for.",
            "invalid_choice": "Choose one of the jobs in the list: it has hours still to be worked.",
        },
    )
    hours = forms.FloatField(
        label="Hours still to be worked",
        min_value=0,
        max_value=MOST_HOURS,
        error_messages={
            "required": "Enter the hours still to be worked.",
            "invalid": "Enter the hours still to be worked as a number.",
            "min_value": "The hours still to be worked cannot be below 0.",
            "max_value": f"At most {MOST_HOURS:,} hours can be tried.",
        },
    )

    def __init__(self, *args: Any, jobs: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["item"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = jobs
