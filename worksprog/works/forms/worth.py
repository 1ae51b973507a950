"""Forms of what works give back."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms

from worksprog.calc.worth.discounting import check_rate, check_years
from worksprog.clubs.forms import take_any_fineness
from worksprog.works.forms.shared import SheetModelForm
from worksprog.works.models import Benefit, EstimateRules, Item, LeftAsIs, WorthRules


class BenefitForm(SheetModelForm):
    """A promise of a project, or of one of its items."""

    class Meta:
        model = Benefit
        fields = [
            "what",
            "item",
            "begins_on",
            "hours_low",
            "hours_likely",
            "hours_high",
            "days_low",
            "days_likely",
            "days_high",
            "money_a_year",
            "years",
            "words",
        ]
        labels = {
            "item": "Of which job",
            "hours_low": "Hours a year, low",
            "hours_likely": "Hours a year, likely",
            "hours_high": "Hours a year, high",
            "days_low": "Days a year a hole is open, low",
            "days_likely": "Days a year a hole is open, likely",
            "days_high": "Days a year a hole is open, high",
            "money_a_year": "Other money a year",
            "begins_on": "Begins on",
            "years": "Years it lasts",
            "words": "How it was reckoned",
        }
        help_texts = {
            "item": "None: of the whole project, once its last job is in play.",
            "hours_low": "Routine hours of the crew; below 0 for work that it brings.",
            "days_low": "Days that a hole would otherwise be closed.",
            "begins_on": "Empty: when the job is in play again.",
            "words": "From which figures: whoever asks in five years reads it here.",
        }
        widgets = {"words": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, items: Sequence[Item], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        take_any_fineness(self.fields.values())
        field = self.fields["item"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = Item.objects.filter(pk__in=[item.pk for item in items])
        field.empty_label = "the whole project"


class LeftAsIsForm(SheetModelForm):
    class Meta:
        model = LeftAsIs
        fields = ["words", "money_low", "money_likely", "money_high", "grows_percent"]
        labels = {
            "words": "What it costs to leave it, and who says so",
            "money_low": "A year, low",
            "money_likely": "A year, likely",
            "money_high": "A year, high",
            "grows_percent": "Grows by, percent a year",
        }
        help_texts = {
            "money_low": "Beside the crew's hours, which the promises count.",
            "grows_percent": "What gets worse each year it is left; below 0 where it gets better.",
        }
        widgets = {"words": forms.Textarea(attrs={"rows": 3})}


class WorthRulesForm(SheetModelForm):
    """What the money rests on: the worth of an hour and a day, discount and years counted."""

    discount_percent = EstimateRules._meta.get_field("discount_percent").formfield(
        label="Discount a year, percent",
        help_text="Above inflation, for all money is money of today.",
    )
    horizon_years = EstimateRules._meta.get_field("horizon_years").formfield(
        label="Years counted", help_text="From the day a work is paid."
    )

    class Meta:
        model = WorthRules
        fields = [
            "hour_low",
            "hour_likely",
            "hour_high",
            "counted_low",
            "counted_likely",
            "counted_high",
            "day_low",
            "day_likely",
            "day_high",
        ]
        labels = {
            "hour_low": "Cost of an hour, low",
            "hour_likely": "Cost of an hour, likely",
            "hour_high": "Cost of an hour, high",
            "counted_low": "Share of the hours that is money, low, %",
            "counted_likely": "Share of the hours that is money, likely, %",
            "counted_high": "Share of the hours that is money, high, %",
            "day_low": "A day open is worth, low",
            "day_likely": "A day open is worth, likely",
            "day_high": "A day open is worth, high",
        }
        help_texts = {
            "hour_low": "All three empty: the crew's line of the price book.",
            "counted_low": "An hour saved is money only when it is worked elsewhere or not paid.",
            "day_low": "All three empty: days open are told and not turned into money.",
        }

    def clean_discount_percent(self) -> Decimal:
        given: Decimal = self.cleaned_data["discount_percent"]
        try:
            check_rate(float(given))
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
        return given

    def clean_horizon_years(self) -> int:
        try:
            return check_years(self.cleaned_data["horizon_years"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
