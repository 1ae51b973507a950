"""Forms of fixtures, holes out of play and money released."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.course.models import Hole
from worksprog.planning.forms.plans import MONTHS, _ModelSheetForm
from worksprog.planning.models import Fixture, MoneyRelease, PlayRules
from worksprog.works.models import Programme, Project


def _day() -> forms.DateInput:
    return forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class FixtureForm(_ModelSheetForm):
    class Meta:
        model = Fixture
        fields = ["name", "from_date", "to_date", "stops", "holes"]
        labels = {
            "name": "What is played",
            "from_date": "First day",
            "to_date": "Last day",
            "stops": "It stops",
            "holes": "Its holes",
        }
        help_texts = {"holes": "Only where it stops works on its holes; several with Ctrl or ⌘."}
        widgets = {"from_date": _day(), "to_date": _day()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        holes = self.fields["holes"]
        assert isinstance(holes, forms.ModelMultipleChoiceField)
        holes.queryset = Hole.objects.filter(club=self.instance.club)


class PlayRulesForm(_ModelSheetForm):
    season_from_month = forms.TypedChoiceField(
        label="The season is from", choices=MONTHS, coerce=int
    )
    season_to_month = forms.TypedChoiceField(label="to the end of", choices=MONTHS, coerce=int)

    class Meta:
        model = PlayRules
        fields = ["holes_at_once", "holes_in_season", "season_from_month", "season_to_month"]
        labels = {
            "holes_at_once": "Holes out of play at once, at most",
            "holes_in_season": "In the season, at most",
        }
        help_texts = {"holes_at_once": "Empty: no limit.", "holes_in_season": "Empty: as above."}


class ReleaseForm(_ModelSheetForm):
    class Meta:
        model = MoneyRelease
        fields = ["project", "from_date", "amount", "words"]
        labels = {
            "project": "For",
            "from_date": "May be spent from",
            "amount": "Amount",
            "words": "Decided",
        }
        help_texts = {"words": "By whom and when, as “Committee, 11 June 2026”."}
        widgets = {"from_date": _day()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        programme: Programme = self.instance.programme
        project = self.fields["project"]
        assert isinstance(project, forms.ModelChoiceField)
        project.queryset = Project.objects.filter(programme=programme)
        project.empty_label = "every project without money of its own"
