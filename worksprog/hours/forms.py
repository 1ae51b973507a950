from __future__ import annotations

from decimal import Decimal

from django import forms

from worksprog.hours.models import EvidenceWord


class QueryForm(forms.Form):
    reason = forms.CharField(label="What is in question", max_length=200)


class CorrectForm(forms.Form):
    """What an approved entry should have said."""

    hours = forms.DecimalField(
        min_value=Decimal(0),
        max_value=Decimal(24),
        max_digits=4,
        decimal_places=1,
        widget=forms.NumberInput(attrs={"step": "0.5"}),
        help_text="In half hours; 0 when it was not worked at all.",
    )
    quantity = forms.FloatField(
        min_value=0, max_value=1_000_000, required=False, help_text="Empty: nothing was measured."
    )
    reason = forms.CharField(label="Why", max_length=200)


class EvidenceForm(forms.Form):
    """What the manager says of a job as evidence."""

    what = forms.ChoiceField(choices=EvidenceWord.What.choices)
    words = forms.CharField(label="Why", max_length=300)
