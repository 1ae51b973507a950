"""Forms of the price book."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.clubs.forms import SheetForm
from worksprog.works.forms.shared import DateInput, SheetModelForm
from worksprog.works.models import (
    OutputRate,
    Price,
)

MOST_FILE_BYTES = 2_000_000


class PriceForm(SheetModelForm):
    class Meta:
        model = Price
        fields = ["category", "code", "name", "unit", "low", "likely", "high", "source", "dated"]
        help_texts = {
            "code": "Letters, figures, hyphens, underscores; estimates ask for it by this.",
            "source": "Whose quote, invoice or list.",
        }
        labels = {"dated": "As of"}


class RateForm(SheetModelForm):
    class Meta:
        model = OutputRate
        fields = ["code", "name", "unit", "low", "likely", "high", "source", "dated"]
        help_texts = {
            "low": "On a slow day, by one person or one machine.",
            "source": "The club's own log, a supplier, a handbook.",
        }
        labels = {"dated": "As of"}


class PriceFileForm(SheetForm):
    file = forms.FileField(label="CSV file")
    dated = forms.DateField(label="Prices as of", widget=DateInput())

    def clean_file(self) -> Any:
        given = self.cleaned_data["file"]
        if given.size > MOST_FILE_BYTES:
            raise forms.ValidationError(
                f"The file has {given.size / 1e6:.1f} MB; a price file of up to 2 MB is expected."
            )
        return given
