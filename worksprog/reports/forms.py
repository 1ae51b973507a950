"""What people fill in about a report."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.reports.models import Decision, Report
from worksprog.works.models import Programme, Project

_DAY = {"type": "date"}


class ReportForm(forms.ModelForm[Report]):
    class Meta:
        model = Report
        fields = (
            *("title", "addressed_to", "meeting_on", "from_date", "to_date", "paper", "opening"),
        )
        labels = {
            "addressed_to": "For",
            "meeting_on": "Meeting on",
            "from_date": "Period from",
            "to_date": "Figures to",
            "opening": "In your own words",
        }
        help_texts = {
            "opening": "Printed above the figures. Plain text; an empty line begins a paragraph.",
            "to_date": "Today at the latest.",
            "meeting_on": "Leave empty when no meeting is set.",
        }
        widgets = {
            "meeting_on": forms.DateInput(attrs=_DAY, format="%Y-%m-%d"),
            "from_date": forms.DateInput(attrs=_DAY, format="%Y-%m-%d"),
            "to_date": forms.DateInput(attrs=_DAY, format="%Y-%m-%d"),
            "opening": forms.Textarea(attrs={"rows": 5}),
        }


class DecisionForm(forms.ModelForm[Decision]):
    class Meta:
        model = Decision
        fields = ("question", "project", "amount")
        labels = {"question": "What is to be decided", "amount": "Money to release"}
        help_texts = {
            "question": "Say what happens if it is held over, too.",
            "amount": "When it is agreed, this sum is added to what is approved for the project.",
        }
        widgets = {"question": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["project"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Project.objects.filter(programme=programme)
        field.empty_label = "no project"


class AnswerForm(forms.Form):
    answer = forms.ChoiceField(
        choices=[choice for choice in Decision.Answer.choices if choice[0] != Decision.Answer.OPEN],
        widget=forms.RadioSelect,
    )
    words = forms.CharField(
        label="Words to go with it", required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
