"""What works give back: promised when they are proposed, measured after they are done."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.works.models.programme import Item, Project


class Benefit(ClubRecord):
    """One thing that a project gives back each year, as it was promised."""

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
    words = models.CharField("how it was reckoned", max_length=300, blank=True)
    hours_low = models.FloatField("hours a year, low", default=0, validators=[MinValueValidator(0)])
    hours_likely = models.FloatField(
        "hours a year, likely", default=0, validators=[MinValueValidator(0)]
    )
    hours_high = models.FloatField(
        "hours a year, high", default=0, validators=[MinValueValidator(0)]
    )
    days_low = models.FloatField(
        "days a hole is open, low", default=0, validators=[MinValueValidator(0)]
    )
    days_likely = models.FloatField(
        "days a hole is open, likely", default=0, validators=[MinValueValidator(0)]
    )
    days_high = models.FloatField(
        "days a hole is open, high", default=0, validators=[MinValueValidator(0)]
    )
    money_a_year = models.DecimalField(
        "other money a year", max_digits=10, decimal_places=2, default=Decimal("0")
    )
    begins_on = models.DateField(
        null=True, blank=True, help_text="Empty: when the work is finished."
    )
    years = models.PositiveSmallIntegerField(
        "years it lasts", default=20, validators=[MinValueValidator(1)]
    )
    promised_on = models.DateField()

    class Meta:
        ordering = ["project__priority", "project__code", "id"]

    def __str__(self) -> str:
        return f"{self.project.code}: {self.get_what_display()}"

    def clean(self) -> None:
        for name, words in (("hours", "Hours"), ("days", "Days")):
            figures = [getattr(self, f"{name}_{end}") for end in ("low", "likely", "high")]
            if None not in figures and figures != sorted(figures):
                raise ValidationError(f"{words}: low, likely and high must rise in that order.")
