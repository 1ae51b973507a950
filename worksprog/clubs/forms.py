from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from hashlib import blake2b
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import Club, Role

FIRST_DATE, LAST_DATE = date(1950, 1, 1), date(2150, 12, 31)


def keep_dates_in_reach(fields: Iterable[forms.Field]) -> None:
    """A year typed with a figure too few or too many is refused in words."""
    words = f"A date between {FIRST_DATE.year} and {LAST_DATE.year} is expected."
    for field in fields:
        if isinstance(field, forms.DateField):
            field.validators.append(MinValueValidator(FIRST_DATE, words))
            field.validators.append(MaxValueValidator(LAST_DATE, words))


def mark_of_row(row: models.Model, names: Iterable[str]) -> str:
    """One word that differs when one of these fields of a row does."""
    chosen = set(names)
    facts = [
        f"{field.name}={row.serializable_value(field.attname)!r}"
        for field in row._meta.concrete_fields
        if field.name in chosen
    ]
    return blake2b("\n".join(facts).encode(), digest_size=8).hexdigest()


class SheetForm(forms.Form):
    """A plain form whose marked fields point at their errors for screen readers."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        keep_dates_in_reach(self.fields.values())


def take_any_fineness(fields: Iterable[forms.Field]) -> None:
    """Let a browser take 0.05 where its own step would refuse it."""
    for field in fields:
        if isinstance(field, forms.FloatField):
            field.widget.attrs["step"] = "any"


def number_field(label: str, help_text: str = "", **more: Any) -> forms.FloatField:
    """A figure of any fineness."""
    field = forms.FloatField(label=label, help_text=help_text, **more)
    take_any_fineness([field])
    return field


class ClubForm(forms.ModelForm[Club]):
    class Meta:
        model = Club
        fields = ["name", "epsg", "time_zone", "working_day_h"]
        help_texts = {
            "epsg": "The grid that your surveyor delivers in, for example 27700 for Great Britain.",
            "time_zone": "For example Europe/London.",
        }


class MemberForm(SheetForm):
    email = forms.EmailField(label="E-mail address")
    first_name = forms.CharField(max_length=60)
    last_name = forms.CharField(max_length=60)
    role = forms.ChoiceField(choices=Role.choices)


class MemberChangeForm(SheetForm):
    role = forms.ChoiceField(choices=Role.choices)
    is_active = forms.BooleanField(label="may sign in to this club", required=False)
