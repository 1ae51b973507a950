"""What play asks of the works: fixtures, holes and loops out of play, growth by the soil's warmth."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.course.models import Hole


class Fixture(ClubRecord):
    """A day or more of play that the works make way for."""

    class Stops(models.TextChoices):
        ALL = "all", "all works"
        CLOSING = "closing", "works that take a hole out of play"
        HERE = "here", "works on its holes"
        NOTHING = "nothing", "nothing"

    name = models.CharField(max_length=80)
    from_date = models.DateField()
    to_date = models.DateField()
    stops = models.CharField(max_length=8, choices=Stops.choices, default=Stops.CLOSING)
    holes = models.ManyToManyField(Hole, blank=True, related_name="fixtures")

    class Meta:
        ordering = ["from_date", "id"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.from_date and self.to_date and self.to_date < self.from_date:
            raise ValidationError({"to_date": "The last day is before the first."})


class PlayRules(ClubRecord):
    """How many holes may be out of play at once, and for how long in the season."""

    holes_at_once = models.PositiveSmallIntegerField(null=True, blank=True)
    loops_at_once = models.PositiveSmallIntegerField(null=True, blank=True)
    holes_in_season = models.PositiveSmallIntegerField(
        "holes out of play at once in the season", null=True, blank=True
    )
    days_in_season = models.PositiveSmallIntegerField(
        "days a hole may be out of play in one season", null=True, blank=True
    )
    season_from_month = models.PositiveSmallIntegerField(
        default=4, validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    season_to_month = models.PositiveSmallIntegerField(
        default=9, validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    temporary_greens = models.PositiveSmallIntegerField(null=True, blank=True)
    temporary_tees = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_play_rules")]

    def __str__(self) -> str:
        return "what play asks"


class Loop(ClubRecord):
    """Holes that close together when one of them cannot be passed."""

    name = models.CharField(max_length=60)
    holes = models.ManyToManyField(Hole, related_name="loops")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class SoilMonth(ClubRecord):
    """How warm the soil usually is in a month."""

    month = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(12)]
    )
    mean_c = models.FloatField(
        "mean soil temperature, °C", validators=[MinValueValidator(-30), MaxValueValidator(45)]
    )
    source = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["month"]
        constraints = [models.UniqueConstraint(fields=["club", "month"], name="one_soil_month")]

    def __str__(self) -> str:
        return f"month {self.month}: {self.mean_c:g} °C"
