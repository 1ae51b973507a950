"""The price book: what a unit costs, how many units an hour gives, how prices rise, versions kept."""

from __future__ import annotations

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.calc.unit_costs import labour_hour, plant_hour
from worksprog.clubs.models import AddedOnly, ClubRecord, User


class Category(models.TextChoices):
    LABOUR = "labour", "labour"
    PLANT = "plant", "plant"
    MATERIAL = "material", "material"
    HAULAGE = "haulage", "haulage"
    CONTRACTOR = "contractor", "contractor"


_LEAST_RATE = Decimal("0.0001")


def _rises(row: Price | OutputRate | PriceTrend) -> bool:
    """True as well while one of the three is missing: its own field says so then."""
    figures = (row.low, row.likely, row.high)
    return None in figures or row.low <= row.likely <= row.high


class PriceTrend(ClubRecord):
    """How fast a group of prices is expected to rise, in percent a year."""

    name = models.CharField(max_length=60)
    low = models.DecimalField("percent a year, low", max_digits=5, decimal_places=2)
    likely = models.DecimalField("percent a year, likely", max_digits=5, decimal_places=2)
    high = models.DecimalField("percent a year, high", max_digits=5, decimal_places=2)
    source = models.CharField(max_length=200, blank=True)
    dated = models.DateField()

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["club", "name"], name="one_trend_per_name")]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if not _rises(self):
            raise ValidationError("Low, likely and high must rise in that order.")
        if self.low is not None and self.low <= -100:
            raise ValidationError({"low": "A price cannot fall by 100 % a year or more."})


class Price(ClubRecord):
    """One line of the price book: what a unit costs, from where and as of when."""

    category = models.CharField(max_length=10, choices=Category.choices)
    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=120)
    unit = models.CharField(max_length=12)
    low = models.DecimalField(max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    likely = models.DecimalField(max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    high = models.DecimalField(max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    source = models.CharField(max_length=200, blank=True)
    dated = models.DateField()
    is_confirmed = models.BooleanField("confirmed by the club", default=False)
    supplier = models.CharField(
        max_length=80, blank=True, help_text="Prices of one supplier move together."
    )
    trend = models.ForeignKey(
        PriceTrend, null=True, blank=True, on_delete=models.SET_NULL, related_name="prices"
    )
    wage = models.DecimalField(
        "wage an hour",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    on_cost_percent = models.DecimalField(
        "on-cost on the wage, percent",
        max_digits=5,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    hire = models.DecimalField(
        "hire an hour",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    fuel = models.DecimalField(
        "fuel an hour",
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )

    class Meta:
        ordering = ["category", "name"]
        constraints = [models.UniqueConstraint(fields=["club", "code"], name="one_price_per_code")]

    def __str__(self) -> str:
        return f"{self.name} per {self.unit}"

    @property
    def made_of(self) -> Decimal | None:
        """The likely price that its parts come to; None where it is given as one figure."""
        if self.wage is not None:
            return labour_hour(self.wage, self.on_cost_percent or Decimal(0))
        if self.hire is not None:
            return plant_hour(self.hire, self.fuel or Decimal(0))
        return None

    def clean(self) -> None:
        self._check_parts()
        if not _rises(self):
            raise ValidationError("Low, likely and high must rise in that order.")

    def _check_parts(self) -> None:
        for name, needs, category in (
            ("on_cost_percent", "wage", (Category.LABOUR, Category.CONTRACTOR)),
            ("fuel", "hire", (Category.PLANT, Category.HAULAGE)),
        ):
            if getattr(self, name) is not None and getattr(self, needs) is None:
                label = self._meta.get_field(needs).verbose_name  # type: ignore[union-attr]
                raise ValidationError({needs: f"The {label} that it comes on top of is missing."})
            if getattr(self, needs) is not None and self.category not in category:
                heads = " and ".join(category)
                raise ValidationError({needs: f"Only prices of {heads} have one."})
        if self.wage is not None and self.on_cost_percent is None:
            raise ValidationError({"on_cost_percent": "A wage has its on-cost, if only 0."})
        worked = self.made_of
        if worked is not None and self.likely is not None and self.likely != worked:
            raise ValidationError(
                {
                    "likely": f"What it is made of (wage and on-cost, or hire and fuel) comes to "
                    f"{worked:.2f}, not {self.likely:.2f}: mend one of them, or leave this one empty"
                }
            )


class SwayedBy(models.TextChoices):
    """What makes an output rate good or bad on all jobs at once."""

    WEATHER = "weather", "weather"
    GROUND = "ground", "the ground"
    HANDS = "hands", "the crew's hands"


class OutputRate(ClubRecord):
    """How many units one person or one machine does in an hour, as the club has it."""

    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=120)
    unit = models.CharField("unit of what is done", max_length=12)
    low = models.DecimalField(
        "an hour, low", max_digits=10, decimal_places=4, validators=[MinValueValidator(_LEAST_RATE)]
    )
    likely = models.DecimalField(
        "an hour, likely",
        max_digits=10,
        decimal_places=4,
        validators=[MinValueValidator(_LEAST_RATE)],
    )
    high = models.DecimalField(
        "an hour, high",
        max_digits=10,
        decimal_places=4,
        validators=[MinValueValidator(_LEAST_RATE)],
    )
    source = models.CharField(max_length=200, blank=True)
    dated = models.DateField()
    is_confirmed = models.BooleanField("confirmed by the club", default=False)
    swayed_by = models.CharField(
        "goes well or badly with",
        max_length=8,
        choices=SwayedBy.choices,
        default=SwayedBy.HANDS,
    )

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["club", "code"], name="one_rate_per_code")]

    def __str__(self) -> str:
        return f"{self.name}: {self.likely.normalize():f} {self.unit}/h"

    def clean(self) -> None:
        if not _rises(self):
            raise ValidationError("Low, likely and high must rise in that order.")


class BookVersion(AddedOnly):
    """The whole price book as it stood after a change."""

    kept_words = (
        "A version of the price book is never changed; change the book and a new one is kept."
    )

    number = models.PositiveIntegerField()
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    words = models.CharField("what changed", max_length=200, blank=True)
    entries = models.JSONField(default=list, blank=True, help_text="Every price and output rate.")

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["club", "number"], name="one_book_per_number")
        ]

    def __str__(self) -> str:
        return f"price book {self.number}"
