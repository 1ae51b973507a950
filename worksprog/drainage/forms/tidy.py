from __future__ import annotations

from typing import Any

from worksprog.clubs.forms import take_any_fineness
from worksprog.drainage.forms.network import SheetModelForm
from worksprog.drainage.models import BuriedService, TidyRules


class TidyRulesForm(SheetModelForm):
    class Meta:
        model = TidyRules
        fields = [
            "path_cover_m",
            "fairway_cover_m",
            "open_cover_m",
            "cover_free_m",
            "velocity_ms",
            "drop_m",
            "crossing_m",
            "service_m",
        ]
        help_texts = {
            "path_cover_m": "Ground to the outside of the pipe. 0.9 m is usual under light traffic "
            "(UK building guidance, from memory).",
            "fairway_cover_m": "0.6 m, as in fields and gardens (the same, from memory).",
            "open_cover_m": "Common practice, no source.",
            "cover_free_m": "At an outfall, a headwall or an open ditch, where a pipe comes to the "
            "day.",
            "velocity_ms": "0.7 m/s keeps a drain below 300 mm clean (BS EN 16933-2, second-hand).",
            "drop_m": "Common practice, no source.",
            "crossing_m": "Between their outsides (common practice, no source).",
            "service_m": "Common practice, no source; the service's owner may ask for more.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        take_any_fineness(self.fields.values())


class BuriedServiceForm(SheetModelForm):
    class Meta:
        model = BuriedService
        fields = ["what", "depth_m", "level_m", "outside_diameter_mm"]
        labels = {"what": "What it is", "outside_diameter_mm": "Outside diameter (mm)"}
        help_texts = {
            "depth_m": "As it was found: traced or dug up. Left empty, its depth is not known.",
            "level_m": "Metres above datum. Where it is known, it stands before the depth.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        take_any_fineness(self.fields.values())
