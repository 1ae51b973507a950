"""What play asks of the works: fixtures, and how many holes may be out of play at once."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.course.models import Hole

_MONTH = [MinValueValidator(1), MaxValueValidator(12)]


class Fixture(ClubRecord):
    """A day or more of play that the works make way for."""

    class Stops(models.TextChoices):
        ALL = "all", "all works"
        CLOSING = "closing", "works that take a hole out of play"
        HERE = "here", "works on its holes"

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
    """How many holes may be out of play at once: one row a club, made when first changed."""

    holes_at_once = models.PositiveSmallIntegerField(null=True, blank=True)
    holes_in_season = models.PositiveSmallIntegerField(
        "holes out of play at once in the season", null=True, blank=True
    )
    season_from_month = models.PositiveSmallIntegerField(default=4, validators=_MONTH)
    season_to_month = models.PositiveSmallIntegerField(default=9, validators=_MONTH)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_play_rules")]

    def __str__(self) -> str:
        return "what play asks"
