"""Ponds and what lets the water out of them; the network led through a rain."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord
from worksprog.course.models import Feature


class Pond(ClubRecord):
    """Stage and area of one pond, with the level of its bank."""

    feature = models.OneToOneField(Feature, on_delete=models.CASCADE, related_name="pond")
    bank_level_m = models.FloatField("lowest level of the bank (m)", null=True, blank=True)
    resting_level_m = models.FloatField("usual water level (m)", null=True, blank=True)
    stages = models.JSONField(
        default=list, blank=True, help_text="Rows of [level (m), water surface (m²)], rising."
    )

    def __str__(self) -> str:
        return f"pond {self.feature.ref or self.feature_id}"


class PondOutlet(ClubRecord):
    """One way out of a pond."""

    class Kind(models.TextChoices):
        PIPE = "pipe", "pipe"
        WEIR = "weir", "broad weir"
        ORIFICE = "orifice", "orifice"

    pond = models.ForeignKey(Pond, on_delete=models.CASCADE, related_name="outlets")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    level_m = models.FloatField("invert or crest (m)")
    diameter_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(10)])
    width_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.05)])
    reach = models.ForeignKey(
        Feature,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="The pipe or ditch it gives into; left empty, the one that starts at the pond.",
    )

    class Meta:
        ordering = ["level_m", "id"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.level_m:.2f} m"


class Routing(ClubRecord):
    """The network led through one rain: what was asked, and what came of it, as it was then."""

    name = models.CharField(max_length=120)
    kept_at = models.DateTimeField(default=timezone.now)
    inputs = models.JSONField(default=dict, help_text="Every figure of the form it was made by.")
    result = models.JSONField(default=dict, help_text="Peaks, hydrographs and the balance.")

    class Meta:
        ordering = ["-kept_at", "-id"]

    def __str__(self) -> str:
        return self.name
