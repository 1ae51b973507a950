"""The form of a club's own kind of work: rows of measures, figures, quantities, lines, examples."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.text import slugify

from worksprog.calc import build_up as calc
from worksprog.clubs.forms import SheetForm
from worksprog.course.models import Kind
from worksprog.works import cautions

_GIVEN = re.compile(r"^\s*([a-z][a-z0-9_]*)\s*=\s*(-?\d+(?:\.\d+)?)\s*$")
SPARE = 1  # empty rows offered at the end of each part


class KindForm(SheetForm):
    """What the kind of work is called, what it is on, what can hurt."""

    code = forms.SlugField(
        max_length=40,
        help_text="Small letters, figures and underscores; it stays as it is from then on.",
    )
    title = forms.CharField(max_length=80, label="Kind of work")
    on = forms.MultipleChoiceField(
        label="Measured on", choices=Kind.choices, widget=forms.CheckboxSelectMultiple,
        required=False, help_text="Features that tell its quantities.",
    )  # fmt: skip
    beside = forms.MultipleChoiceField(
        label="May also lie on", choices=Kind.choices, widget=forms.CheckboxSelectMultiple,
        required=False, help_text="Features that say where it is, and are not measured.",
    )  # fmt: skip
    cautions = forms.MultipleChoiceField(
        label="What can hurt",
        choices=[(one.key, one.title) for one in cautions.EVERY.values()],
        widget=forms.CheckboxSelectMultiple, required=False,
        help_text="All are shown where none is ticked.",
    )  # fmt: skip
    assumes = forms.CharField(
        label="What it takes for granted", required=False,
        widget=forms.Textarea(attrs={"rows": 2}), help_text="One sentence a line.",
    )  # fmt: skip
    progress = forms.CharField(
        max_length=40, label="Progress is told by", help_text="The name of one of its quantities."
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)


def _name(label: str = "Name") -> forms.CharField:
    return forms.CharField(
        label=label, max_length=40, required=False, widget=forms.TextInput({"spellcheck": "false"})
    )


def _words(label: str, most: int, *, size: int = 24) -> forms.CharField:
    return forms.CharField(
        label=label, max_length=most, required=False, widget=forms.TextInput({"size": size})
    )


def _figure(label: str) -> forms.FloatField:
    return forms.FloatField(
        label=label, required=False, widget=forms.NumberInput({"step": "any", "size": 6})
    )


def _unit() -> forms.CharField:
    return forms.CharField(
        label="Unit", max_length=12, required=False, widget=forms.TextInput({"size": 5})
    )


class _Row(SheetForm):
    """A row of a part; an empty one is passed over."""

    def given(self) -> dict[str, Any] | None:
        filled = {
            name: value
            for name, value in self.cleaned_data.items()
            if value not in (None, "") and name != "DELETE"
        }
        return filled if set(filled) - set(self.NOT_ALONE) else None

    NOT_ALONE: tuple[str, ...] = ()  # fields that are set in an empty row, too


class MeasureRow(_Row):
    name = _name()
    label = _words("What it is", 160)
    unit = _unit()
    assumed = _figure("Where nothing tells it")


class FigureRow(_Row):
    name = _name()
    label = _words("What it is", 160)
    unit = _unit()
    low = _figure("Low")
    likely = _figure("Likely")
    high = _figure("High")
    least = _figure("Least allowed")
    most = _figure("Most allowed")
    source = _words("Source", 160, size=14)

    def given(self) -> dict[str, Any] | None:
        row = super().given()
        if row is None:
            return None
        likely = row.pop("likely", None)
        low, high = row.pop("low", likely), row.pop("high", likely)
        row["usual"] = likely if low == likely == high else [low, likely, high]
        row["bounds"] = [row.pop("least", None), row.pop("most", None)]
        return row


class QuantityRow(_Row):
    name = _name()
    label = _words("What it is", 160)
    unit = _unit()
    formula = _words("Formula", 1000, size=40)
    earth = forms.ChoiceField(
        label="Earth",
        required=False,
        choices=[
            ("", "no"),
            ("cut", "dug out"),
            ("fill", "filled in"),
            ("topsoil_off", "topsoil off"),
            ("topsoil_on", "topsoil on"),
            ("unsuitable", "dug out, makes no fill"),
        ],
    )
    source = _words("Source", 160, size=14)


class CheckRow(_Row):
    formula = _words("Must hold", 1000, size=40)
    words = _words("What is said when it does not", 300, size=50)


class LineRow(_Row):
    NOT_ALONE = ("category",)
    key = _name("Key")
    category = forms.ChoiceField(
        label="Head", choices=[(one.value, one.value) for one in calc.Category], required=False
    )
    description = _words("What is done or bought", 160, size=28)
    quantity = _name("Quantity")
    price = _words("Price, its code", 60, size=20)
    rate = _words("Output rate, its code", 40, size=16)
    waste = _words("Waste, a figure's name", 40, size=10)
    contract = _words("Contractor's price, its code", 40, size=14)

    def given(self) -> dict[str, Any] | None:
        row = super().given()
        if row is not None and "key" not in row:
            row["key"] = slugify(row.get("description", ""))[:40]
        return row


class ExampleRow(_Row):
    takes = _words("Given", 600, size=44)
    gives = _words("Must come out", 600, size=44)

    def _side(self, name: str) -> dict[str, float]:
        found: dict[str, float] = {}
        for part in re.split(r"[;,\n]", self.cleaned_data.get(name) or ""):
            if not part.strip():
                continue
            match = _GIVEN.match(part)
            if match is None:
                raise forms.ValidationError(
                    {name: f"“{part.strip()}”: name = number is expected, parted by semicolons."}
                )
            found[match.group(1)] = float(match.group(2))
        return found

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["sides"] = (self._side("takes"), self._side("gives"))
        return data

    def given(self) -> dict[str, Any] | None:
        takes, gives = self.cleaned_data.get("sides", ({}, {}))
        return {"given": takes, "expected": gives} if takes or gives else None


PARTS: dict[str, tuple[type[_Row], str, str]] = {
    "measures": (
        MeasureRow,
        "What is measured",
        "Names that the map tells by themselves: length_m, area_m2, rim_m, count, stems, span_m, "
        "mean_depth_m. Any other is entered on the item.",
    ),
    "parameters": (
        FigureRow,
        "Figures of design",
        "What is usual, as low, likely and high where it is never known beforehand, else likely "
        "alone; and the least and the most that may be entered on an item.",
    ),
    "quantities": (
        QuantityRow,
        "Quantities",
        "Formulas over names: + − × / ^, min( ), max( ), if(question, one, other), sqrt( ), "
        "round_up( ), round_down( ), abs( ), pi; a number with a unit is written 0.3[m]. Units are "
        "checked and changed into one another.",
    ),
    "checks": (CheckRow, "What must hold", "A question with <, <=, >, >=, =; {name} in the words."),
    "lines": (
        LineRow,
        "Lines",
        "Hours where an output rate is named, else the quantity itself. {name} in a price's code "
        "is filled from a figure, as pipe-twinwall-{pipe_mm}.",
    ),
    "examples": (
        ExampleRow,
        "Worked numbers",
        "Reckoned by hand: area_m2 = 100; depth_m = 0.2 must give volume = 20. Figures that are "
        "not given are taken at their likely value. Without one the kind of work is not kept.",
    ),
}


FIGURES = ("low", "likely", "high", "least", "most")


def _initial(name: str, row: Mapping[str, Any]) -> dict[str, Any]:
    if name == "examples":
        return {
            "takes": "; ".join(f"{key} = {value:g}" for key, value in row["given"].items()),
            "gives": "; ".join(f"{key} = {value:g}" for key, value in row["expected"].items()),
        }
    if name != "parameters":
        return dict(row)
    usual = row["usual"] if isinstance(row["usual"], list) else [row["usual"]] * 3
    figures = dict(zip(FIGURES, [*usual, *row["bounds"]], strict=True))
    return {**row, **{name: f"{value:.12g}" for name, value in figures.items()}}


class KindSheet:
    """The whole form: its head and the rows of every part."""

    def __init__(
        self,
        data: Any = None,
        *,
        definition: Mapping[str, Any] | None = None,
        examples: list[Mapping[str, Any]] | None = None,
        version: int | None = None,
        is_new: bool,
    ) -> None:
        start = dict(definition or {})
        head = {name: start[name] for name in KindForm.base_fields if name in start}
        if definition:
            head |= {"code": start["kind"], "assumes": "\n".join(start.get("assumes", ()))}
        self.head = KindForm(data, initial={**head, "seen": version})
        if not is_new:
            self.head.fields["code"].disabled = True
        self.parts: dict[str, dict[str, Any]] = {}
        for name, (row_form, title, help_text) in PARTS.items():
            rows = examples if name == "examples" else start.get(name)
            factory = forms.formset_factory(
                row_form, extra=SPARE, max_num=calc.MOST, absolute_max=calc.MOST + 5,
                validate_max=True, can_delete=True,
            )  # fmt: skip
            formset = factory(
                data, prefix=name, initial=[_initial(name, row) for row in rows or ()]
            )
            self.parts[name] = {"name": name, "title": title, "help": help_text, "rows": formset}

    def is_valid(self) -> bool:
        return all([self.head.is_valid(), *(one["rows"].is_valid() for one in self.parts.values())])

    def _rows(self, name: str) -> list[dict[str, Any]]:
        kept = []
        for row in self.parts[name]["rows"].forms:
            if row.cleaned_data.get("DELETE"):
                continue
            given = row.given()
            if given is not None:
                kept.append(given)
        return kept

    def definition(self) -> dict[str, Any]:
        data = self.head.cleaned_data
        return {
            "kind": data["code"],
            "title": data["title"],
            "on": data["on"],
            "beside": data["beside"],
            "cautions": data["cautions"],
            "progress": data["progress"],
            "assumes": [line.strip() for line in data["assumes"].splitlines() if line.strip()],
            **{name: self._rows(name) for name in PARTS if name != "examples"},
        }

    def examples(self) -> list[dict[str, Any]]:
        return self._rows("examples")
