"""What works give back: promised when they are proposed, measured after they are done."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.worth.discounting import MOST_YEARS
from worksprog.clubs.models import ClubRecord
from worksprog.works.models.programme import Item, Project

_NOT_BELOW_0 = [MinValueValidator(0)]
_HOURS = [MinValueValidator(-100_000), MaxValueValidator(100_000)]
_DAYS = [MinValueValidator(0), MaxValueValidator(10_000)]
_PERCENT = [MinValueValidator(0), MaxValueValidator(100)]
_YEARS = [MinValueValidator(1), MaxValueValidator(MOST_YEARS)]


def _must_rise(row: models.Model, **stems: str) -> None:
    """ValidationError by field unless low, likely and high rise; all of a stem may be empty."""
    wrong: dict[str, str] = {}
    for stem, words in stems.items():
        names = [f"{stem}_{end}" for end in ("low", "likely", "high")]
        figures = [getattr(row, name) for name in names]
        given = [figure for figure in figures if figure is not None]
        if given and len(given) < 3 and row._meta.get_field(names[0]).null:
            empty = names[figures.index(None)]
            wrong[empty] = f"{words}: give low, likely and high, or leave all three empty."
        elif len(given) == 3 and given != sorted(given):
            wrong[names[1]] = (
                f"{words}: low, likely and high must rise in that order, not "
                + ", ".join(f"{figure:g}" for figure in given)
                + "."
            )
    if wrong:
        raise ValidationError(wrong)


class Benefit(ClubRecord):
    """One thing that a project gives back each year, as it was promised.

    Hours below 0 are routine work that a project brings, as a new bunker does.
    """

    class What(models.TextChoices):
        LEAVES = "leaves", "leaves that do not fall"
        BUNKERS = "bunkers", "bunkers no longer raked"
        WET_GROUND = "wet_ground", "wet ground no longer worked by hand"
        OTHER = "other", "something else"

    project = models.ForeignKey(Project, on_delete=models.CASCADE, related_name="benefits")
    item = models.ForeignKey(
        Item, null=True, blank=True, on_delete=models.CASCADE, related_name="benefits"
    )
    what = models.CharField(max_length=12, choices=What.choices)
    words = models.CharField("how it was reckoned", max_length=300)
    hours_low = models.FloatField("hours a year, low", default=0, validators=_HOURS)
    hours_likely = models.FloatField("hours a year, likely", default=0, validators=_HOURS)
    hours_high = models.FloatField("hours a year, high", default=0, validators=_HOURS)
    days_low = models.FloatField("days a hole is open, low", default=0, validators=_DAYS)
    days_likely = models.FloatField("days a hole is open, likely", default=0, validators=_DAYS)
    days_high = models.FloatField("days a hole is open, high", default=0, validators=_DAYS)
    money_a_year = models.DecimalField(
        "other money a year", max_digits=10, decimal_places=2, default=Decimal("0")
    )
    begins_on = models.DateField(
        "begins on", null=True, blank=True, help_text="Empty: when the work is in play."
    )
    years = models.PositiveSmallIntegerField("years it lasts", default=20, validators=_YEARS)
    promised_on = models.DateField()

    class Meta:
        ordering = ["project__priority", "project__code", "id"]

    def __str__(self) -> str:
        return f"{self.project.code}: {self.get_what_display()}"

    def clean(self) -> None:
        _must_rise(self, hours="Hours", days="Days")
        if self.item is not None and self.item.phase.project_id != self.project_id:
            raise ValidationError({"item": "The item belongs to another project."})

    @property
    def hours(self) -> ThreePoint:
        return ThreePoint(self.hours_low, self.hours_likely, self.hours_high)

    @property
    def days(self) -> ThreePoint:
        return ThreePoint(self.days_low, self.days_likely, self.days_high)


class LeftAsIs(ClubRecord):
    """What it costs a year to leave a thing as it is, beside the crew's hours, as the club states it."""

    project = models.ForeignKey(Project, on_delete=models.CASCADE, related_name="left_as_is")
    words = models.CharField("what it is and who says so", max_length=300)
    money_low = models.DecimalField(
        "a year, low", max_digits=10, decimal_places=2, validators=_NOT_BELOW_0
    )
    money_likely = models.DecimalField(
        "a year, likely", max_digits=10, decimal_places=2, validators=_NOT_BELOW_0
    )
    money_high = models.DecimalField(
        "a year, high", max_digits=10, decimal_places=2, validators=_NOT_BELOW_0
    )
    grows_percent = models.DecimalField(
        "grows by, percent a year",
        max_digits=5,
        decimal_places=2,
        default=Decimal("0"),
        validators=[MinValueValidator(-99), MaxValueValidator(50)],
    )
    stated_on = models.DateField()

    class Meta:
        ordering = ["project__priority", "project__code", "id"]

    def __str__(self) -> str:
        return f"{self.project.code}: left as it is"

    def clean(self) -> None:
        _must_rise(self, money="Money a year")


class WorthRules(ClubRecord):
    """What an hour saved and a day open are worth to the club: one row, made when first set."""

    hour_low = models.DecimalField(
        "cost of an hour, low",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=_NOT_BELOW_0,
    )
    hour_likely = models.DecimalField(
        "cost of an hour, likely",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=_NOT_BELOW_0,
    )
    hour_high = models.DecimalField(
        "cost of an hour, high",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=_NOT_BELOW_0,
    )
    counted_low = models.PositiveSmallIntegerField(
        "share of saved hours that is money, low, %", default=50, validators=_PERCENT
    )
    counted_likely = models.PositiveSmallIntegerField(
        "share of saved hours that is money, likely, %", default=100, validators=_PERCENT
    )
    counted_high = models.PositiveSmallIntegerField(
        "share of saved hours that is money, high, %", default=100, validators=_PERCENT
    )
    day_low = models.DecimalField(
        "a day open is worth, low",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=_NOT_BELOW_0,
    )
    day_likely = models.DecimalField(
        "a day open is worth, likely",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=_NOT_BELOW_0,
    )
    day_high = models.DecimalField(
        "a day open is worth, high",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=_NOT_BELOW_0,
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_worth_rules")]

    def __str__(self) -> str:
        return "what an hour and a day open are worth"

    def clean(self) -> None:
        _must_rise(
            self,
            hour="Cost of an hour",
            counted="Share of the hours",
            day="Worth of a day open",
        )
