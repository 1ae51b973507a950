"""What a simulation of the programme found, level by level."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models.programme import Programme


class RangesRun(ClubRecord):
    """One simulation of a programme; what it was made from is kept, so that it can be made again."""

    programme = models.ForeignKey(Programme, on_delete=models.CASCADE, related_name="ranges_runs")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    mark = models.CharField(
        max_length=64, help_text="Tells whether estimates, dates or rules moved since."
    )
    seed = models.PositiveIntegerField()
    draws = models.PositiveIntegerField()
    rules = models.JSONField(default=dict, help_text="Curve and sways as they were.")

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"{self.programme}, ranges of {self.made_at:%d %b %Y}"


class RangeRow(ClubRecord):
    """Hours and money of one item, phase, project or year, or of the whole, by chance."""

    class Level(models.TextChoices):
        PROGRAMME = "programme", "programme"
        PROJECT = "project", "project"
        PHASE = "phase", "phase"
        YEAR = "year", "financial year"
        ITEM = "item", "item"

    run = models.ForeignKey(RangesRun, on_delete=models.CASCADE, related_name="rows")
    order = models.PositiveIntegerField(default=0)
    level = models.CharField(max_length=10, choices=Level.choices)
    key = models.CharField(max_length=40, help_text="The row's uuid, or the year's name.")
    label = models.CharField(max_length=160)
    base_h = models.FloatField("sum of the likely hours")
    base_money = models.DecimalField("sum of the likely money", max_digits=14, decimal_places=2)
    hours = models.JSONField(help_text="Mean, sd, and the value at 1 to 99 per cent.")
    money = models.JSONField(help_text="Mean, sd, and the value at 1 to 99 per cent.")
    drivers = models.JSONField(default=dict, blank=True, help_text="What drives it, ranked.")

    class Meta:
        ordering = ["run", "order"]
        constraints = [
            models.UniqueConstraint(fields=["run", "level", "key"], name="one_range_per_group")
        ]

    def __str__(self) -> str:
        return self.label
