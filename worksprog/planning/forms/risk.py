from __future__ import annotations

from django import forms

from worksprog.calc.futures.run import FEWEST, MOST
from worksprog.clubs.forms import SheetForm
from worksprog.planning.services.risk import MOST_SEED


class FuturesForm(SheetForm):
    """How many futures, and from which seed."""

    count = forms.IntegerField(label="futures", min_value=FEWEST, max_value=MOST, initial=10_000)
    seed = forms.IntegerField(
        label="seed",
        min_value=0,
        max_value=MOST_SEED,
        initial=1,
        help_text="The same seed gives the same futures.",
    )
