"""Forms of the price book."""

from __future__ import annotations

from typing import Any

from django import forms

from worksprog.clubs.forms import SheetForm
from worksprog.works.forms.shared import DateInput, SheetModelForm
from worksprog.works.models import (
    OutputRate,
    Price,
    PriceTrend,
    SwayedBy,
)
from worksprog.works.price_file import LIMITS


class PriceForm(SheetModelForm):
    class Meta:
        model = Price
        fields = [
            "category",
            "code",
            "name",
            "unit",
            "dated",
            "source",
            "low",
            "likely",
            "high",
            "wage",
            "on_cost_percent",
            "hire",
            "fuel",
            "supplier",
            "trend",
        ]
        help_texts = {
            "code": "Letters, figures, hyphens, underscores; estimates ask for it by this.",
            "source": "Whose quote, invoice or list.",
            "likely": "May stay empty where a wage or a hire is given below: it is worked out.",
            "wage": "Of labour: what a person is paid for an hour.",
            "on_cost_percent": "Insurance, pension, holidays and sickness on top of the wage.",
            "hire": "Of plant and haulage: an hour of the machine, without its driver.",
            "fuel": "What it burns in that hour.",
            "trend": "By which group of prices it rises from year to year.",
        }
        labels = {"dated": "As of", "trend": "How it rises", "category": "Kind of cost"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["likely"].required = False
        trend = self.fields["trend"]
        assert isinstance(trend, forms.ModelChoiceField)
        trend.queryset = PriceTrend.objects.filter(club=self.instance.club)
        trend.empty_label = "not said"


class RateForm(SheetModelForm):
    class Meta:
        model = OutputRate
        fields = ["code", "name", "unit", "low", "likely", "high", "swayed_by", "source", "dated"]
        help_texts = {
            "low": "On a slow day, by one person or one machine.",
            "source": "The club's own log, a supplier, a handbook.",
            "swayed_by": "What makes it good or bad on all jobs at once.",
        }
        labels = {"dated": "As of"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["swayed_by"].required = False

    def clean_swayed_by(self) -> str:
        return str(self.cleaned_data["swayed_by"] or SwayedBy.HANDS)


class TrendForm(SheetModelForm):
    class Meta:
        model = PriceTrend
        fields = ["name", "low", "likely", "high", "source", "dated"]
        help_texts = {
            "low": "Below 0 where the prices may fall.",
            "source": "An index, a forecast, the club's own invoices.",
        }
        labels = {"dated": "As of"}


class PriceFileForm(SheetForm):
    file = forms.FileField(label="CSV or XLSX file")
    dated = forms.DateField(
        label="Prices as of, where a row has no date",
        required=False,
        widget=DateInput(),
        help_text="Left empty, a row without a date of its own is refused.",
    )

    def clean_file(self) -> Any:
        given = self.cleaned_data["file"]
        if given.size > LIMITS.file_bytes:
            raise forms.ValidationError(
                f"The file has {given.size / 1e6:.1f} MB; a price file of up to "
                f"{LIMITS.file_bytes / 1e6:.0f} MB is expected."
            )
        return given
