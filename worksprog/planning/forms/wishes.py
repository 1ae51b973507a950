from __future__ import annotations

from typing import Any

from django import forms

from worksprog.clubs.forms import SheetForm

SECONDS = [(30, "half a minute"), (60, "a minute"), (180, "three minutes"), (600, "ten minutes")]


class SolveForm(SheetForm):
    """How long a better plan is looked for."""

    seconds = forms.TypedChoiceField(
        label="How long to look", choices=SECONDS, coerce=int, initial=60
    )


class GiveUpForm(SheetForm):
    """One wish of the programme, and why it is given up."""

    wish = forms.ChoiceField(label="Wish")
    reason = forms.CharField(
        label="Why", max_length=300, help_text="It is kept on record with the wish."
    )

    def __init__(
        self, *args: Any, wishes: list[tuple[str, list[tuple[str, str]]]], **more: Any
    ) -> None:
        super().__init__(*args, **more)
        wish = self.fields["wish"]
        assert isinstance(wish, forms.ChoiceField)
        wish.choices = wishes
