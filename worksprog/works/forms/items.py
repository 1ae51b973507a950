"""Forms of an item: what it is on, its figures, lines, order, consents, money."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django import forms
from django.db import models

from worksprog.calc import build_up as calc
from worksprog.calc.ranges import ThreePoint
from worksprog.clubs.forms import SheetForm, mark_of_row
from worksprog.course.models import Feature, Hole
from worksprog.works.forms.shared import (
    MOST_QUANTITY,
    DateInput,
    OnceField,
    RowsField,
    SheetModelForm,
    changed_meanwhile,
    money_field,
)
from worksprog.works.models import (
    Category,
    Consent,
    EstimateLine,
    Item,
    ItemState,
    Link,
    Spend,
)
from worksprog.works.recipes import recipe_of


def _feature_words(feature: models.Model) -> str:
    assert isinstance(feature, Feature)
    return f"{feature.title} ({feature.get_state_display()})"


class _FeatureField(RowsField):
    def label_from_instance(self, obj: models.Model) -> str:
        return _feature_words(obj)


class ItemForm(SheetModelForm):
    """An item of a kind that is settled; offers the features that kind can be on."""

    features = _FeatureField(
        queryset=Feature.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        label="On these features",
        help_text="Quantities are measured from them.",
    )
    holes = RowsField(
        queryset=Hole.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Item
        fields = [
            "name",
            "features",
            "holes",
            "holes_closed",
            "not_before",
            "by_contractor",
            "max_share",
            "growing_in_weeks",
            "notes",
        ]
        labels = {
            "holes_closed": "The holes are out of play while it goes on",
            "by_contractor": "Done by a contractor",
            "max_share": "Largest share of the crew's free week",
            "growing_in_weeks": "Weeks to grow in before play",
        }
        help_texts = {
            "by_contractor": "The hours are then the contractor's and take none of the crew's.",
            "max_share": "1.00 is all of it, 0.50 half.",
        }
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}

    def __init__(
        self,
        *args: Any,
        choices: models.QuerySet[Feature],
        holes: models.QuerySet[Hole],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        for name, rows in (("features", choices), ("holes", holes)):
            field = self.fields[name]
            assert isinstance(field, forms.ModelMultipleChoiceField)
            field.queryset = rows


class StateForm(SheetForm):
    state = forms.ChoiceField(label="Where it stands", choices=ItemState.choices)
    on = forms.DateField(label="Since", widget=DateInput())

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        if data is not None and "without_consent" in data:
            self.ask_consent()

    def ask_consent(self) -> None:
        """Ask the second confirmation, which only stands here once a consent was found missing."""
        self.fields["without_consent"] = forms.BooleanField(
            label="I have read this and set the job on site all the same; my name and the day "
            "are kept with the consent",
            required=False,
        )


class LinkForm(SheetForm):
    """Which item waits for which: this one for another, or another for this one."""

    way = forms.ChoiceField(
        label="Order",
        choices=[
            ("after", "This item waits for the other"),
            ("before", "The other waits for this"),
        ],
        widget=forms.RadioSelect,
        initial="after",
    )
    other = forms.ChoiceField(label="Other item")
    type = forms.ChoiceField(label="How", choices=Link.Type.choices)
    lag_days = forms.IntegerField(
        label="Days between", initial=0, min_value=-365, max_value=1000,
        help_text="Working days from the one to the other; below 0 for an overlap.",
    )  # fmt: skip

    def __init__(self, *args: Any, others: Iterable[Item], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["other"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [
            (str(one.uuid), f"{one.phase.project.code} · {one.name}") for one in others
        ]


def _with_unit(figure: str, unit: str) -> str:
    return f"{figure} {unit}" if unit else figure


class QuantityForm(SheetForm):
    """What a recipe is given by hand; an empty field takes what is measured, else the usual."""

    def __init__(self, *args: Any, item: Item, measured: dict[str, float], **kwargs: Any) -> None:
        kwargs.setdefault("initial", item.parameters)
        super().__init__(*args, **kwargs)
        recipe = recipe_of(item.club, item.kind)
        for measure in recipe.measures:
            if measure.name in measured:
                words = f"Measured: {_with_unit(f'{measured[measure.name]:,.2f}', measure.unit)}."
            elif measure.assumed is not None:
                usual_words = _with_unit(f"{measure.assumed:g}", measure.unit)
                words = f"Not told by the features; {usual_words} is taken."
            else:
                words = "Not told by the features; it is needed."
            self._add(measure.name, measure.label, measure.unit, words)
        for parameter in recipe.parameters:
            usual, unit = parameter.usual, parameter.unit
            if parameter.name in measured:
                words = f"From the features: {_with_unit(f'{measured[parameter.name]:g}', unit)}."
            elif usual.is_certain:
                words = f"Usual: {_with_unit(f'{usual.likely:g}', unit)}."
            else:
                words = f"Usual: {usual.low:g} to {usual.high:g}, likely {usual.likely:g}."
            if parameter.choices:
                words += f" One of {', '.join(f'{one:g}' for one in parameter.choices)}."
            self._add(parameter.name, parameter.label, parameter.unit, words)

    def _add(self, name: str, label: str, unit: str, words: str) -> None:
        label = label[0].upper() + label[1:]
        self.fields[name] = forms.FloatField(
            label=f"{label} ({unit})" if unit else label, required=False, help_text=words
        )

    def given(self) -> dict[str, float]:
        return {name: value for name, value in self.cleaned_data.items() if value is not None}


class LineForm(SheetForm):
    category = forms.ChoiceField(choices=Category.choices)
    description = forms.CharField(max_length=160)
    unit = forms.CharField(max_length=12, help_text="h on a labour line.")
    quantity_low = forms.FloatField(label="Quantity, low", min_value=0, max_value=MOST_QUANTITY)
    quantity_likely = forms.FloatField(
        label="Quantity, likely", min_value=0, max_value=MOST_QUANTITY
    )
    quantity_high = forms.FloatField(label="Quantity, high", min_value=0, max_value=MOST_QUANTITY)
    rate_low = money_field("Price of one, low")
    rate_likely = money_field("Price of one, likely")
    rate_high = money_field("Price of one, high")
    once = OnceField()
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, line: EstimateLine | None = None, **kwargs: Any) -> None:
        self._now = mark_of_row(line, self.base_fields) if line is not None else ""
        if line is not None:
            kwargs["initial"] = {**self.initial_of(line), "seen": self._now}
        super().__init__(*args, **kwargs)

    @classmethod
    def initial_of(cls, line: EstimateLine) -> dict[str, Any]:
        shown = set(cls.base_fields) - {"once", "seen"}
        initial = {name: getattr(line, name) for name in shown}
        for name in ("quantity_low", "quantity_likely", "quantity_high"):
            initial[name] = round(initial[name], 3)
        return initial

    def clean(self) -> dict[str, Any] | None:
        data = super().clean()
        for stem in ("quantity", "rate"):
            three = [self.cleaned_data.get(f"{stem}_{end}") for end in ("low", "likely", "high")]
            if None not in three and sorted(three) != three:  # type: ignore[type-var]
                self.add_error(f"{stem}_likely", "Low, likely and high must rise in that order.")
        category, unit = self.cleaned_data.get("category"), self.cleaned_data.get("unit")
        if category == Category.LABOUR and unit and unit != "h":
            self.add_error("unit", "Labour is counted in hours: h.")
        if (seen := self.cleaned_data.get("seen")) and seen != self._now:
            raise changed_meanwhile("This line")
        return data

    def range_of(self) -> ThreePoint:
        data = self.cleaned_data
        return ThreePoint(data["quantity_low"], data["quantity_likely"], data["quantity_high"])

    def price_of(self) -> calc.MoneyRange:
        data = self.cleaned_data
        return calc.MoneyRange(data["rate_low"], data["rate_likely"], data["rate_high"])


class ConsentForm(SheetModelForm):
    once = OnceField()

    class Meta:
        model = Consent
        fields = ["name", "authority", "asked_on", "granted_on", "expires_on", "notes"]
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}


class SpendForm(SheetModelForm):
    once = OnceField()

    class Meta:
        model = Spend
        fields = ["spent_on", "description", "amount"]
        help_texts = {"amount": "Before tax; below 0 to correct an earlier entry."}

    def clean_amount(self) -> Decimal:
        amount: Decimal = self.cleaned_data["amount"]
        if amount == 0:
            raise forms.ValidationError("An amount other than 0 is expected.")
        return amount
