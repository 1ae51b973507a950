"""What was built, as it was measured: rows are only ever added, and the design stays beside them."""

from __future__ import annotations

import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import AddedOnly, User
from worksprog.course.models import Feature, Survey

KEPT_AS_IT_IS = (
    "A level or fact taken on site is never changed or removed; add one that puts it right."
)


class AsBuiltLevel(AddedOnly):
    """One level taken on what was built. A wrong one is put right by a row that names it."""

    kept_words = KEPT_AS_IT_IS

    class Of(models.TextChoices):
        INVERT = "invert", "invert"
        CROWN = "crown", "top of the pipe"
        BED = "bed", "bed of the ditch"
        COVER = "cover", "cover or ground"

    class How(models.TextChoices):
        GNSS = "gnss", "satellite receiver"
        LEVEL = "level", "level or laser and staff"
        PEG = "peg", "depth below a peg"
        TAPE = "tape", "tape"
        FILE = "file", "surveyor's file"

    feature = models.ForeignKey(Feature, on_delete=models.PROTECT, related_name="as_built")
    of = models.CharField(max_length=8, choices=Of.choices)
    x_m = models.FloatField()
    y_m = models.FloatField()
    chainage_m = models.FloatField(null=True, blank=True, help_text="Along the line, downstream.")
    level_m = models.FloatField()
    peg_level_m = models.FloatField(null=True, blank=True)
    below_peg_m = models.FloatField(null=True, blank=True)
    how = models.CharField(max_length=8, choices=How.choices)
    level_accuracy_m = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(10)]
    )
    plan_accuracy_m = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)]
    )
    measured_on = models.DateField()
    note = models.CharField(max_length=300, blank=True)
    photo = models.FileField(upload_to="as-built/", blank=True)
    file_name = models.CharField(
        max_length=200, blank=True, help_text="The surveyor's file it came from."
    )
    survey = models.ForeignKey(
        Survey, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    client_id = models.UUIDField(
        default=uuid.uuid4, help_text="Made by the phone, so that nothing sent twice is kept twice."
    )
    kept_at = models.DateTimeField(default=timezone.now)
    kept_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    why = models.CharField("reason of the correction", max_length=200, blank=True)

    class Meta:
        ordering = ["feature_id", "chainage_m", "id"]
        constraints = [
            models.UniqueConstraint(fields=["club", "client_id"], name="as_built_sent_once")
        ]

    def __str__(self) -> str:
        return f"{self.get_of_display()} {self.level_m:.3f} m"


class AsBuiltFacts(AddedOnly):
    """What lies in the ground, beyond its levels. The newest row of a feature is the one that holds."""

    kept_words = KEPT_AS_IT_IS

    feature = models.ForeignKey(Feature, on_delete=models.PROTECT, related_name="built_facts")
    built_on = models.DateField(null=True, blank=True)
    laid_by = models.CharField(max_length=120, blank=True)
    material = models.CharField(max_length=60, blank=True)
    inside_diameter_mm = models.FloatField(null=True, blank=True)
    outside_diameter_mm = models.FloatField(null=True, blank=True)
    bedding = models.CharField(max_length=120, blank=True)
    backfilled_on = models.DateField(null=True, blank=True)
    backfilled_despite = models.CharField(
        "closed all the same, because", max_length=200, blank=True
    )
    note = models.TextField(blank=True)
    kept_at = models.DateTimeField(default=timezone.now)
    kept_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["feature_id", "-id"]

    def __str__(self) -> str:
        return f"as built {self.feature.ref or self.feature_id}"
