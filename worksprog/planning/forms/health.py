from __future__ import annotations

from django import forms

from worksprog.calc.schedule_health import USUAL_LONG_DAYS
from worksprog.clubs.forms import SheetForm


class HealthForm(SheetForm):
    long_days = forms.IntegerField(
        label="Working days that count as long",
        min_value=1,
        max_value=1000,
        initial=USUAL_LONG_DAYS,
        help_text="The published limit is 44: two months of 22 working days. Between seasons a "
        "club's jobs have more float by nature.",
    )
