"""Levels and sections of reaches and nodes: what the drain network needs beyond a shape."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.course.models import Feature

SMALLEST_BORE_MM, LARGEST_BORE_MM = 30, 3000
BORE_WORDS = (
    f"An inside diameter is in millimetres, {SMALLEST_BORE_MM} to {LARGEST_BORE_MM:,}. "
    "Six inches are 150 mm."
)


class CatchmentFrom(models.TextChoices):
    ENTERED = "entered", "entered"
    GROUND = "ground", "measured from the ground"


class CulvertInlet(models.TextChoices):
    """How a culvert begins, as the published inlet-control equations tell them apart."""

    NONE = "", "no culvert"
    HEADWALL_SQUARE = "square", "headwall, square edge"
    HEADWALL_GROOVE = "groove", "headwall, socket end upstream"
    PROJECTING = "project", "projecting from the bank"
    MITRED = "mitred", "mitred to the slope"


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
    catchment_from = models.CharField(
        max_length=8, choices=CatchmentFrom.choices, default=CatchmentFrom.ENTERED
    )
    flow_path_m = models.FloatField(
        "longest flow path over the ground (m)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(20_000)],
    )
    flow_path_fall_m = models.FloatField(
        "fall along that path (m)",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(2_000)],
    )
    inside_diameter_mm = models.FloatField(
        "inside diameter (mm)",
        null=True,
        blank=True,
        validators=[MinValueValidator(SMALLEST_BORE_MM), MaxValueValidator(LARGEST_BORE_MM)],
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
    lining = models.CharField(
        max_length=12,
        blank=True,
        help_text="What the bed and banks of a ditch are: it sets the velocity they stand.",
    )
    culvert_inlet = models.CharField(max_length=8, choices=CulvertInlet.choices, blank=True)
    replaced_by = models.ForeignKey(
        Feature,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="replaces",
        help_text="The pipe or ditch that takes its place; when that stands, this one is gone.",
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
    water_level_m = models.FloatField(
        "water level in flood (m)",
        null=True,
        blank=True,
        help_text="Of the brook or ditch an outfall gives into; left empty, it falls free.",
    )
    head_loss_k = models.FloatField(
        "chamber loss, velocity heads",
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(10)],
    )

    def __str__(self) -> str:
        return f"node {self.feature.ref or self.feature_id}"
