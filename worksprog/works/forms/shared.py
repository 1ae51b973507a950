"""What the forms of the works share."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.db import models

from worksprog.clubs.forms import keep_dates_in_reach, mark_of_row

MOST_QUANTITY = 100_000_000


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


def changed_meanwhile(words: str) -> forms.ValidationError:
    return forms.ValidationError(
        f"{words} was changed in the meantime by somebody else. Nothing of yours is kept yet: look "
        "at what it is now on its page, then open this form again.",
        code="changed",
    )


class SheetModelForm(forms.ModelForm):  # type: ignore[type-arg]
    """A model's form with the browser's own date field and labels as on the sheets.

    The form of a row that stands carries a mark of what was seen of it, so that two people do not
    write over each other.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        for one in self.fields.values():
            if isinstance(one, forms.DateField):
                one.widget = DateInput()
        keep_dates_in_reach(self.fields.values())
        self._now = ""
        if self.instance.pk is not None:
            self._now = mark_of_row(self.instance, self.fields)
            self.fields["seen"] = forms.CharField(
                widget=forms.HiddenInput, required=False, initial=self._now
            )

    def clean(self) -> dict[str, Any] | None:
        data = super().clean()
        seen = self.cleaned_data.pop("seen", "")
        if seen and seen != self._now:
            name = self.instance._meta.verbose_name
            raise changed_meanwhile(f"This {name}")
        return data


class RowsField(forms.ModelMultipleChoiceField):  # type: ignore[type-arg]
    """Rows by their keys; a key that no database could hold is one that is not offered."""

    def clean(self, value: Any) -> Any:
        try:
            return super().clean(value)
        except OverflowError:
            raise forms.ValidationError(
                "Choose from what is offered; one of these is not there."
            ) from None


class OnceField(forms.UUIDField):
    """A name for what a form is to add, made when it was opened: sent twice, it is added once."""

    widget = forms.HiddenInput

    def __init__(self) -> None:
        super().__init__(required=False, initial=uuid.uuid4)


def was_kept(model: type[models.Model], once: uuid.UUID | None) -> bool:
    """Whether what this form is to add was added by an earlier sending of it."""
    return once is not None and model._default_manager.filter(uuid=once).exists()


def money_field(label: str) -> forms.DecimalField:
    return forms.DecimalField(label=label, min_value=0, max_digits=12, decimal_places=2)
