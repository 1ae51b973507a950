"""What the drain network needs to know beyond a feature's shape."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.course.models import Feature


class DesignStorm(ClubRecord):
    """The rain the network is checked for. The one marked live is used."""

    name = models.CharField(max_length=80, default="1 in 10 year")
    return_period_years = models.PositiveIntegerField(default=10)
    intensity_mm_h = models.FloatField(
        "intensity (mm/h)",
        default=30.0,
        validators=[MinValueValidator(0.1), MaxValueValidator(500)],
    )
    source = models.CharField(max_length=200, blank=True)
    is_live = models.BooleanField(default=True)

    def __str__(self) -> str:
        return f"{self.name}, {self.intensity_mm_h:g} mm/h"


class DrainReach(ClubRecord):
    """Levels and section of a pipe or ditch; flow runs the way its line is drawn."""

    feature = models.OneToOneField(Feature, on_delete=models.CASCADE, related_name="reach")
    upstream_invert_m = models.FloatField("upstream invert (m)", null=True, blank=True)
    downstream_invert_m = models.FloatField("downstream invert (m)", null=True, blank=True)
    # Levels belong to places in the ground: where the line began and ended when they were entered,
    # so that a line later turned round, split or redrawn does not carry them off.
    began_x_m = models.FloatField(null=True, blank=True, editable=False)
    began_y_m = models.FloatField(null=True, blank=True, editable=False)
    ended_x_m = models.FloatField(null=True, blank=True, editable=False)
    ended_y_m = models.FloatField(null=True, blank=True, editable=False)
    catchment_ha = models.FloatField(
        "own catchment (ha)",
        default=0.0,
        validators=[MinValueValidator(0), MaxValueValidator(10_000)],
    )
    runoff_coefficient = models.FloatField(
        default=0.35, validators=[MinValueValidator(0), MaxValueValidator(1)]
    )
    inside_diameter_mm = models.FloatField(
        "inside diameter (mm)",
        null=True,
        blank=True,
        validators=[MinValueValidator(30), MaxValueValidator(3000)],
    )
    ks_mm = models.FloatField(
        "roughness ks (mm)",
        default=0.6,
        validators=[MinValueValidator(0.001), MaxValueValidator(50)],
    )
    material = models.CharField(max_length=60, blank=True)
    bottom_width_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    side_slope = models.FloatField(
        "side slope (1 in … horizontal per vertical)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(10)],
    )
    depth_m = models.FloatField(
        "depth (m)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0.05), MaxValueValidator(10)],
    )
    freeboard_m = models.FloatField(default=0.15, validators=[MinValueValidator(0)])
    manning_n = models.FloatField(
        default=0.035, validators=[MinValueValidator(0.008), MaxValueValidator(0.3)]
    )

    def __str__(self) -> str:
        return f"reach {self.feature.ref or self.feature_id}"

    def clean(self) -> None:
        if self.depth_m is not None and self.freeboard_m >= self.depth_m:
            raise ValidationError({"freeboard_m": "The freeboard leaves no depth for water."})


class DrainNode(ClubRecord):
    """Levels of a chamber, headwall or outfall."""

    feature = models.OneToOneField(Feature, on_delete=models.CASCADE, related_name="node")
    cover_level_m = models.FloatField("cover or ground level (m)", null=True, blank=True)
    invert_level_m = models.FloatField("invert level (m)", null=True, blank=True)
    size = models.CharField(max_length=60, blank=True)

    def __str__(self) -> str:
        return f"node {self.feature.ref or self.feature_id}"
