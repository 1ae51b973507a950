"""The course: its holes, the features on it, the surveys and the ground they gave."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord, User
from worksprog.course.fields import GeometryField


class Hole(ClubRecord):
    number = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(72)]
    )
    name = models.CharField(max_length=60, blank=True)
    par = models.PositiveSmallIntegerField(
        default=4, validators=[MinValueValidator(3), MaxValueValidator(6)]
    )
    length_m = models.PositiveSmallIntegerField(
        "length (m)",
        null=True,
        blank=True,
        validators=[MinValueValidator(40), MaxValueValidator(800)],
    )
    loop = models.CharField(max_length=30, blank=True, help_text="Front nine, brook loop …")

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["club", "number"], name="one_hole_per_number")
        ]

    def __str__(self) -> str:
        return f"Hole {self.number}"


class Kind(models.TextChoices):
    """What a feature is. ``SHAPES`` says which geometry each takes."""

    GREEN = "green", "green"
    TEE = "tee", "tee"
    FAIRWAY = "fairway", "fairway"
    BUNKER = "bunker", "bunker"
    PATH = "path", "path"
    DITCH = "ditch", "ditch"
    PIPE = "pipe", "pipe"
    CHAMBER = "chamber", "chamber"
    HEADWALL = "headwall", "headwall"
    OUTFALL = "outfall", "outfall"
    POND = "pond", "pond"
    TREE = "tree", "tree"
    WOOD = "wood", "wood"
    MOUND = "mound", "mound"
    BRIDGE = "bridge", "bridge"
    LATERALS = "laterals", "laterals"
    SERVICE = "service", "buried service"
    HEDGE = "hedge", "hedge"
    FENCE = "fence", "fence"
    BOUNDARY = "boundary", "boundary"


SHAPES: dict[str, str] = {
    Kind.PATH: "LineString",
    Kind.DITCH: "LineString",
    Kind.PIPE: "LineString",
    Kind.BRIDGE: "LineString",
    Kind.SERVICE: "LineString",
    Kind.HEDGE: "LineString",
    Kind.FENCE: "LineString",
    Kind.CHAMBER: "Point",
    Kind.HEADWALL: "Point",
    Kind.OUTFALL: "Point",
    Kind.TREE: "Point",
    Kind.GREEN: "Polygon",
    Kind.TEE: "Polygon",
    Kind.FAIRWAY: "Polygon",
    Kind.BUNKER: "Polygon",
    Kind.POND: "Polygon",
    Kind.WOOD: "Polygon",
    Kind.MOUND: "Polygon",
    Kind.LATERALS: "Polygon",
    Kind.BOUNDARY: "Polygon",
}
DRAIN_LINES = frozenset({Kind.DITCH, Kind.PIPE})
DRAIN_NODES = frozenset({Kind.CHAMBER, Kind.HEADWALL, Kind.OUTFALL})


class State(models.TextChoices):
    EXISTING = "existing", "existing"
    PROPOSED = "proposed", "proposed"
    ON_SITE = "on_site", "on site"
    GROWING_IN = "growing_in", "growing in"
    AS_BUILT = "as_built", "as built"
    REMOVED = "removed", "removed"


class Source(models.TextChoices):
    SURVEYED = "surveyed", "surveyed"
    DRAWN = "drawn", "drawn on the map"
    RECORD = "record", "taken from an old drawing"
    DESIGN = "design", "design"
    MEASURED = "measured", "measured on site"


class Survey(ClubRecord):
    """One delivery of survey data: a file, what was read from it and how good it is."""

    class What(models.TextChoices):
        SPOT_HEIGHTS = "spot_heights", "spot heights"
        FEATURES = "features", "features"
        GROUND_GRID = "ground_grid", "ground as a grid"

    name = models.CharField(max_length=120)
    what = models.CharField(max_length=14, choices=What.choices)
    surveyed_on = models.DateField("surveyed on")
    surveyor = models.CharField(max_length=120, blank=True)
    level_accuracy_m = models.DecimalField(
        "level accuracy (± m)",
        max_digits=6,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    plan_accuracy_m = models.DecimalField(
        "plan accuracy (± m)",
        max_digits=6,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    file_name = models.CharField(max_length=200, blank=True)
    count = models.PositiveIntegerField(default=0)
    points = models.BinaryField(
        null=True,
        blank=True,
        editable=True,
        help_text="Spot heights as a compressed numpy archive: xyz (n, 3) and codes (n,); "
        "of a grid, calc.ground's own archive.",
    )
    reading = models.JSONField(
        default=dict, blank=True, help_text="What the reader told: notices, refused rows."
    )
    imported_at = models.DateTimeField(default=timezone.now)
    imported_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-surveyed_on", "-id"]

    def __str__(self) -> str:
        return self.name

    @property
    def has_levels(self) -> bool:
        return self.what != self.What.FEATURES


class ImportDraft(ClubRecord):
    """An uploaded file that has been read but not yet accepted."""

    what = models.CharField(max_length=14, choices=Survey.What.choices)
    name = models.CharField(max_length=120)
    surveyed_on = models.DateField()
    surveyor = models.CharField(max_length=120, blank=True)
    level_accuracy_m = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    plan_accuracy_m = models.DecimalField(max_digits=6, decimal_places=3, null=True, blank=True)
    file_name = models.CharField(max_length=200)
    stored_as = models.CharField(max_length=255, help_text="Path below MEDIA_ROOT.")
    options = models.JSONField(default=dict, blank=True)
    uploaded_at = models.DateTimeField(default=timezone.now)
    uploaded_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-uploaded_at"]

    def __str__(self) -> str:
        return f"{self.file_name} (not yet accepted)"


class LayerMapping(ClubRecord):
    """Which layer name of a surveyor's drawing is which kind of feature: kept by the club."""

    layer = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=[*Kind.choices, ("", "leave out")], blank=True)
    state = models.CharField(max_length=12, choices=State.choices, default=State.EXISTING)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "layer"], name="one_mapping_per_layer")
        ]

    def __str__(self) -> str:
        return f"{self.layer} → {self.kind or 'left out'}"


class GroundModel(ClubRecord):
    """Levels everywhere, made from one or more surveys; the newest ready one is the live one."""

    class Method(models.TextChoices):
        TRIANGLES = "triangles", "triangulated spot heights"
        GRID = "grid", "grid"

    method = models.CharField(max_length=10, choices=Method.choices)
    surveys = models.ManyToManyField(Survey, related_name="ground_models")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    data = models.BinaryField(editable=True, help_text="calc.ground's own compressed archive.")
    count = models.PositiveIntegerField(default=0)
    lowest_m = models.FloatField(null=True)
    highest_m = models.FloatField(null=True)
    contour_step_m = models.FloatField(default=1.0)
    contours = models.JSONField(default=dict, blank=True, help_text="GeoJSON (WGS84) with level_m.")
    shading = models.BinaryField(null=True, blank=True, editable=True, help_text="PNG in WGS84.")
    shading_bounds = models.JSONField(
        default=list, blank=True, help_text="[[south, west], [north, east]]"
    )

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"Ground of {self.made_at:%d %b %Y}"


class GroundWater(ClubRecord):
    """Where water runs and stands on a ground by its shape, and where its levels are a guess."""

    ground = models.OneToOneField(GroundModel, on_delete=models.CASCADE, related_name="water")
    made_at = models.DateTimeField(default=timezone.now)
    cell_m = models.FloatField()
    least_depth_m = models.FloatField("least depth of a hollow (m)", default=0.05)
    path_from_m2 = models.FloatField("least area above a flow path (m²)", default=2500.0)
    guess_from_m = models.FloatField("levels are a guess beyond (m)")
    guess_share = models.FloatField("share of the ground whose levels are a guess")
    levels = models.BinaryField(
        editable=True, help_text="The raster followed, in calc.ground's own archive."
    )
    hollows = models.JSONField(
        default=list, blank=True, help_text="Largest first; outlines in the club's grid."
    )
    lines = models.JSONField(
        default=dict, blank=True, help_text="GeoJSON (WGS84) of flow paths and hollows."
    )
    wetness = models.BinaryField(editable=True, help_text="PNG in WGS84.")
    distance = models.BinaryField(editable=True, help_text="PNG in WGS84.")
    bounds = models.JSONField(default=list, help_text="[[south, west], [north, east]]")

    def __str__(self) -> str:
        return f"Water on the ground, {self.made_at:%d %b %Y}"


class Feature(ClubRecord):
    """A thing on the course, with a shape in the club's grid."""

    kind = models.CharField(max_length=12, choices=Kind.choices)
    ref = models.CharField("reference", max_length=20, blank=True, help_text="C3, O1, T8 …")
    name = models.CharField(max_length=120, blank=True)
    state = models.CharField(max_length=12, choices=State.choices, default=State.EXISTING)
    state_date = models.DateField("since", null=True, blank=True)
    source = models.CharField(max_length=10, choices=Source.choices, default=Source.DRAWN)
    accuracy_m = models.DecimalField(
        "accuracy (± m)",
        max_digits=6,
        decimal_places=3,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    survey = models.ForeignKey(
        Survey, null=True, blank=True, on_delete=models.PROTECT, related_name="features"
    )
    geometry = GeometryField("shape")
    holes = models.ManyToManyField(Hole, blank=True, related_name="features")
    width_m = models.DecimalField(
        "width (m)",
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    stems = models.PositiveIntegerField("stems", null=True, blank=True)
    diameter_cm = models.DecimalField(
        "stem diameter at breast height (cm)",
        max_digits=5,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(400)],
    )
    height_m = models.DecimalField(
        "height (m)",
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(120)],
    )
    notes = models.TextField(blank=True)
    version = models.PositiveIntegerField(
        default=1, help_text="Counts changes of shape, so that two hands meet."
    )

    class Meta:
        ordering = ["kind", "ref", "id"]
        indexes = [models.Index(fields=["club", "kind", "state"])]

    def __str__(self) -> str:
        return " ".join(part for part in (self.get_kind_display(), self.ref or self.name) if part)

    def clean(self) -> None:
        wanted = SHAPES.get(self.kind)
        if wanted and self.geometry is not None and self.geometry.geom_type != wanted:
            raise ValidationError(
                {
                    "geometry": f"A {self.get_kind_display()} is a {wanted}, not a {self.geometry.geom_type}."
                }
            )

    @property
    def title(self) -> str:
        words = self.name or str(self)
        return words[:1].upper() + words[1:]

    @property
    def length_m(self) -> float:
        return float(self.geometry.length)

    @property
    def area_m2(self) -> float:
        return float(self.geometry.area)
