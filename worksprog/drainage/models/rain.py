"""Rain: the club's own table of depths, its gauge record, and the storm the network is checked for."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord


class RainTable(ClubRecord):
    """Depths of rain by return period and duration: typed in, from a file, or fitted to a gauge."""

    class Origin(models.TextChoices):
        ENTERED = "entered", "typed in"
        FILE = "file", "from a file"
        FITTED = "fitted", "fitted to the gauge"

    name = models.CharField(max_length=80)
    origin = models.CharField(max_length=8, choices=Origin.choices, default=Origin.ENTERED)
    source = models.CharField(max_length=200, blank=True)
    depths = models.JSONField(
        default=list,
        help_text="Rows of [return period (years), duration (min), depth (mm)].",
    )
    fit = models.JSONField(
        default=dict, blank=True, help_text="How it was fitted: distribution, years, warnings."
    )

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name


class GaugeRecord(ClubRecord):
    """What a gauge told: the most rain of each year by duration, the rain of each day where it has
    it, and what had to be left out."""

    class Kind(models.TextChoices):
        DAILY = "daily", "rain by day"
        MAXIMA = "maxima", "the most of each year"

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=6, choices=Kind.choices)
    source = models.CharField(max_length=200, blank=True)
    year_begins = models.PositiveSmallIntegerField(
        "month in which the year begins",
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(12)],
    )
    maxima = models.JSONField(default=list, help_text="Rows of [year, duration (min), depth (mm)].")
    left_out = models.JSONField(
        default=list, blank=True, help_text="Lines, gaps and years left out, in words."
    )
    daily = models.JSONField(
        default=dict, blank=True, help_text="first: a date; mm: rain by day from then, null a gap."
    )

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return self.name


class DesignStorm(ClubRecord):
    """The rain the network is checked for. The one marked live is used."""

    class TimeFormula(models.TextChoices):
        BRANSBY = "bransby", "Bransby-Williams"
        KIRPICH = "kirpich", "Kirpich"

    name = models.CharField(max_length=80, default="1 in 10 year")
    return_period_years = models.PositiveIntegerField(default=10)
    intensity_mm_h = models.FloatField(
        "intensity (mm/h)",
        default=30.0,
        validators=[MinValueValidator(0.1), MaxValueValidator(500)],
    )
    source = models.CharField(max_length=200, blank=True)
    table = models.ForeignKey(
        RainTable,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="storms",
        help_text="With a table each reach is checked for the duration that loads it most; "
        "without, for the one intensity.",
    )
    climate_allowance_percent = models.FloatField(
        "allowance for climate change (%)",
        default=0.0,
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    time_formula = models.CharField(
        "time over the ground by",
        max_length=8,
        choices=TimeFormula.choices,
        default=TimeFormula.BRANSBY,
    )
    is_live = models.BooleanField(default=True)

    def __str__(self) -> str:
        return f"{self.name}, {self.intensity_mm_h:g} mm/h"
