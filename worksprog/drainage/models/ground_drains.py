"""Laterals under a piece of ground, and what is buried there already."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.course.fields import GeometryField
from worksprog.course.models import Feature


class LateralLayout(ClubRecord):
    """Drains laid into the area of a laterals feature, as they were last laid out."""

    class Pattern(models.TextChoices):
        PARALLEL = "parallel", "parallel"
        HERRINGBONE = "herring", "herringbone"

    feature = models.OneToOneField(Feature, on_delete=models.CASCADE, related_name="layout")
    carrier = models.ForeignKey(
        Feature, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    pattern = models.CharField(max_length=8, choices=Pattern.choices, default=Pattern.PARALLEL)
    spacing_m = models.FloatField(validators=[MinValueValidator(0.5), MaxValueValidator(200)])
    angle_to_fall_deg = models.FloatField(
        default=45.0, validators=[MinValueValidator(0), MaxValueValidator(90)]
    )
    bore_mm = models.FloatField(
        "inside diameter (mm)", validators=[MinValueValidator(30), MaxValueValidator(300)]
    )
    inputs = models.JSONField(default=dict, help_text="Every figure of the form it was laid by.")
    lines = GeometryField("drains", null=True, blank=True)
    joined = models.PositiveIntegerField("drains that meet the carrier", default=0)
    mean_depth_m = models.FloatField("mean depth of its inverts (m)", null=True, blank=True)
    outline_version = models.PositiveIntegerField(
        help_text="The area's version when it was laid out: a later outline leaves it behind."
    )

    def __str__(self) -> str:
        return f"laterals {self.feature.ref or self.feature_id}"

    @property
    def length_m(self) -> float:
        return float(self.lines.length) if self.lines is not None else 0.0

    @property
    def is_behind(self) -> bool:
        """Laid out for an outline that has since changed. Reads the feature."""
        return bool(self.outline_version != self.feature.version)


class BuriedService(ClubRecord):
    """What a buried service is and how deep it lies, for crossings and cautions."""

    class What(models.TextChoices):
        IRRIGATION = "irrigation", "irrigation main"
        WATER = "water", "water main"
        ELECTRIC = "electric", "electric cable"
        GAS = "gas", "gas main"
        TELECOM = "telecom", "telecom cable"
        SEWER = "sewer", "sewer"
        OTHER = "other", "other"

    feature = models.OneToOneField(Feature, on_delete=models.CASCADE, related_name="service")
    what = models.CharField(max_length=10, choices=What.choices, default=What.OTHER)
    depth_m = models.FloatField(
        "depth to its top (m)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(20)],
    )
    level_m = models.FloatField("level of its centre (m)", null=True, blank=True)
    outside_diameter_mm = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(5), MaxValueValidator(3000)]
    )

    def __str__(self) -> str:
        return f"{self.get_what_display()} {self.feature.ref}".strip()
