"""Forms of programme, projects and phases."""

from __future__ import annotations

from django import forms

from worksprog.clubs.forms import SheetForm
from worksprog.works.forms.shared import DateInput, SheetModelForm
from worksprog.works.models import (
    Phase,
    Programme,
    Project,
)


class ProgrammeForm(SheetModelForm):
    class Meta:
        model = Programme
        fields = ["name", "revision", "starts_on", "ends_on", "is_live"]
        labels = {
            "starts_on": "First day",
            "ends_on": "Last day",
            "is_live": "This is the live programme",
        }
        help_texts = {"is_live": "One programme of a club is live; reports and hours go by it."}


class ProjectForm(SheetModelForm):
    class Meta:
        model = Project
        fields = ["code", "name", "purpose", "priority"]
        labels = {"code": "Short code"}
        help_texts = {
            "code": "A few letters, as BC.",
            "purpose": "Why the club wants it, in a sentence the committee understands.",
            "priority": "1 is placed first.",
        }
        widgets = {"purpose": forms.Textarea(attrs={"rows": 3})}


class PhaseForm(SheetModelForm):
    class Meta:
        model = Phase
        fields = ["name"]


class ApproveForm(SheetForm):
    amount = forms.DecimalField(
        label="Money approved", min_value=0, max_digits=12, decimal_places=2
    )
    approved_on = forms.DateField(label="Approved on", widget=DateInput())
