"""What the forms of the works share."""

from __future__ import annotations

from typing import Any

from django import forms


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class SheetModelForm(forms.ModelForm):  # type: ignore[type-arg]
    """A model's form with the browser's own date field and labels as on the sheets."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        for one in self.fields.values():
            if isinstance(one, forms.DateField):
                one.widget = DateInput()


def money_field(label: str) -> forms.DecimalField:
    return forms.DecimalField(label=label, min_value=0, max_digits=12, decimal_places=2)
