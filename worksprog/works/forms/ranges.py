"""The form of what a simulation assumes."""

from __future__ import annotations

from typing import Any

from worksprog.clubs.forms import take_any_fineness
from worksprog.works.forms.shared import SheetModelForm
from worksprog.works.models import EstimateRules


class AssumedForm(SheetModelForm):
    class Meta:
        model = EstimateRules
        fields = [
            "sway_programme",
            "sway_weather",
            "sway_ground",
            "sway_hands",
            "sway_supplier",
            "range_shape",
            "draws",
            "seed",
        ]
        labels = {
            "sway_programme": "Every figure with every other",
            "sway_weather": "Outputs with the weather of their winter",
            "sway_ground": "Outputs and quantities with the ground of their project",
            "sway_hands": "Outputs with the crew's hands",
            "sway_supplier": "Prices with their supplier",
            "range_shape": "Curve between low and high",
            "draws": "Draws",
            "seed": "Seed",
        }
        help_texts = {
            "sway_programme": "0 to 0.95. 0.2 to 0.3 is a common choice where nothing is known; "
            "0 understates the spread badly.",
            "sway_weather": "0 to 0.95: the correlation of two figures that share the cause, on top "
            "of the first line's.",
            "sway_ground": "0 to 0.95.",
            "sway_hands": "0 to 0.95.",
            "sway_supplier": "0 to 0.95. A supplier stands with the price in the price book.",
            "range_shape": "Beta-PERT leans to the likely figure; triangular gives more to the ends.",
            "draws": "1,000 to 100,000. More steadies the last figures, nothing else.",
            "seed": "Any whole number. The same seed gives the same answer.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        take_any_fineness(self.fields.values())
