from __future__ import annotations

from typing import Any

from django import forms

from worksprog.calc.section_sheets import HORIZONTAL, VERTICAL
from worksprog.calc.setting_out import LineOfSight, Wish
from worksprog.clubs.forms import number_field

CHOSEN = [("", "chosen to fit")]


class SheetForm(forms.Form):
    """On which paper and to which scale."""

    paper = forms.ChoiceField(label="Paper", choices=[("A3", "A3"), ("A4", "A4")], required=False)
    horizontal = forms.TypedChoiceField(
        label="Scale along",
        choices=CHOSEN + [(str(scale), f"1:{scale}") for scale in HORIZONTAL],
        coerce=int,
        required=False,
        empty_value=None,
    )
    vertical = forms.TypedChoiceField(
        label="Scale of heights",
        choices=CHOSEN + [(str(scale), f"1:{scale}") for scale in VERTICAL],
        coerce=int,
        required=False,
        empty_value=None,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


def _number(label: str, help_text: str = "") -> forms.FloatField:
    return number_field(label, help_text, required=False)


class SettingOutForm(forms.Form):
    """How a drain is set out; what is left empty takes its usual value."""

    every_m = _number("A station every (m)", "Usually 10.")
    bed_mm = _number("Bed under the pipe (mm)", "Usually 100 (common practice, no source).")
    wall_mm = _number("Wall of the pipe (mm)", "Left empty, 7 % of the bore is taken.")
    offset_m = _number("Pegs beside the line (m)", "Left empty, none.")
    mark_m = _number("Level of the bench mark (m)")
    back_sight_m = _number("Staff read on it (m)", "Both together give the staff readings.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if self.errors:
            return found
        if (found["mark_m"] is None) != (found["back_sight_m"] is None):
            self.add_error(
                "back_sight_m" if found["back_sight_m"] is None else "mark_m",
                "A staff reading needs both: the level of the bench mark and the staff read on it.",
            )
            return found
        try:
            found["wish"] = self._wish(found)
        except ValueError as error:
            self.add_error(None, str(error))
        return found

    def _wish(self, found: dict[str, Any]) -> Wish:
        sight = None
        if found["mark_m"] is not None:
            sight = LineOfSight(found["mark_m"], found["back_sight_m"])
        return Wish(
            every_m=10.0 if found["every_m"] is None else found["every_m"],
            bed_m=0.1 if found["bed_mm"] is None else found["bed_mm"] / 1000,
            wall_m=None if found["wall_mm"] is None else found["wall_mm"] / 1000,
            offset_m=found["offset_m"],
            sight=sight,
        )
