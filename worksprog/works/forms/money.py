"""The form of the club's money."""

from __future__ import annotations

from worksprog.clubs.models import Club
from worksprog.works.forms.shared import SheetModelForm


class MoneyForm(SheetModelForm):
    class Meta:
        model = Club
        fields = [
            "currency",
            "year_start_month",
            "tax_name",
            "tax_percent",
            "tax_recovered_percent",
        ]
        help_texts = {
            "currency": "Three letters, for example GBP. One currency for the whole club.",
            "year_start_month": "1 for January, 4 for April.",
            "tax_percent": "On what is bought; 0 where none is charged.",
            "tax_recovered_percent": "0 where none of it comes back, 100 where all of it does. Many "
            "clubs recover a part: ask whoever keeps the accounts.",
        }
