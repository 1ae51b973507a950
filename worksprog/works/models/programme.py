"""Programme > project > phase > item; what waits for what; consents and money out."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.course.models import Feature, Hole


class WorkKind(models.TextChoices):
    CARRIER_PIPE = "carrier_pipe", "carrier pipe"
    DITCH_DUG = "ditch_dug", "ditch dug"
    DITCH_REGRADED = "ditch_regraded", "ditch regraded"
    LATERALS = "laterals", "laterals"
    TEE_REBUILD = "tee_rebuild", "tee rebuild"
    BUNKER_NEW = "bunker_new", "bunker, new"
    BUNKER_FILLED = "bunker_filled", "bunker filled and turfed"
    PATH = "path", "path"
    TREE_THINNING = "tree_thinning", "tree thinning"
    HEADWALL = "headwall", "headwall"
    BRIDGE = "bridge", "bridge"
    MOUNDING = "mounding", "mounding"
    SEEDING = "seeding", "seeding"
    TURFING = "turfing", "turfing"
    CHAMBER = "chamber", "chamber"
    OUTFALL = "outfall", "outfall"
    CULVERT = "culvert", "culvert"
    PATH_BOUND = "path_bound", "path, bound surface"
    TREE_FELLING = "tree_felling", "tree felling"
    STUMPS = "stumps", "stump grinding"
    HEDGE_SCRUB = "hedge_scrub", "hedge and scrub clearing"
    CROSSING = "crossing", "irrigation crossing"
    FENCING = "fencing", "fencing"


class Programme(ClubRecord):
    name = models.CharField(max_length=120)
    revision = models.CharField(max_length=10, default="A")
    starts_on = models.DateField()
    ends_on = models.DateField()
    is_live = models.BooleanField(default=True)

    class Meta:
        ordering = ["-is_live", "-starts_on"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.starts_on and self.ends_on and self.ends_on <= self.starts_on:
            raise ValidationError({"ends_on": "The programme ends before it starts."})


class Project(ClubRecord):
    programme = models.ForeignKey(Programme, on_delete=models.CASCADE, related_name="projects")
    code = models.CharField(max_length=12)
    name = models.CharField(max_length=120)
    purpose = models.TextField(blank=True)
    priority = models.PositiveSmallIntegerField(default=5, help_text="1 is first.")
    approved = models.DecimalField(
        "money approved",
        max_digits=12,
        decimal_places=2,
        default=Decimal("0"),
        validators=[MinValueValidator(0)],
    )
    approved_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["priority", "code"]
        constraints = [
            models.UniqueConstraint(fields=["programme", "code"], name="one_project_per_code")
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Phase(ClubRecord):
    project = models.ForeignKey(Project, on_delete=models.CASCADE, related_name="phases")
    name = models.CharField(max_length=120)
    order = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["project__priority", "project__code", "order"]

    def __str__(self) -> str:
        return self.name


class ItemState(models.TextChoices):
    PROPOSED = "proposed", "proposed"
    ON_SITE = "on_site", "on site"
    GROWING_IN = "growing_in", "growing in"
    DONE = "done", "done"
    SHELVED = "shelved", "shelved"


class Item(ClubRecord):
    """One job, of one kind of work, on some features and holes."""

    phase = models.ForeignKey(Phase, on_delete=models.CASCADE, related_name="items")
    kind = models.SlugField(
        max_length=40, help_text="A kind of work that ships, or one of the club's own."
    )
    kind_title = models.CharField(max_length=80, blank=True)
    name = models.CharField(max_length=120)
    order = models.PositiveSmallIntegerField(default=1)
    features = models.ManyToManyField(Feature, blank=True, related_name="items")
    holes = models.ManyToManyField(Hole, blank=True, related_name="items")
    state = models.CharField(max_length=12, choices=ItemState.choices, default=ItemState.PROPOSED)
    not_before = models.DateField(null=True, blank=True)
    by_contractor = models.BooleanField("by contractor", default=False)
    contract_steps = models.JSONField(
        default=list,
        blank=True,
        help_text="Lines of the recipe that a contractor does where the crew does the rest.",
    )
    max_share = models.DecimalField(
        "largest share of the crew's free week",
        max_digits=3,
        decimal_places=2,
        default=Decimal("1.00"),
        validators=[MinValueValidator(Decimal("0.01")), MaxValueValidator(Decimal("1"))],
    )
    growing_in_weeks = models.PositiveSmallIntegerField(default=0)
    holes_closed = models.BooleanField("its holes are out of play", default=False)
    parameters = models.JSONField(
        default=dict,
        blank=True,
        help_text="Figures entered by hand: of the design, or a quantity that no feature tells.",
    )
    started_on = models.DateField(null=True, blank=True)
    finished_on = models.DateField(null=True, blank=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = [
            "phase__project__priority",
            "phase__project__code",
            "phase__order",
            "order",
            "id",
        ]

    def __str__(self) -> str:
        return self.name

    def get_kind_display(self) -> str:
        """The kind of work as it was called when the item was made."""
        return self.kind_title or str(dict(WorkKind.choices).get(self.kind, self.kind))


class Link(ClubRecord):
    """A drawn order between two items: the second waits for the first."""

    class Type(models.TextChoices):
        FS = "FS", "finish to start"
        SS = "SS", "start to start"
        FF = "FF", "finish to finish"
        SF = "SF", "start to finish"

    first = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="links_out")
    then = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="links_in")
    type = models.CharField(max_length=2, choices=Type.choices, default=Type.FS)
    lag_days = models.SmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["first", "then"], name="one_link_per_pair"),
            models.CheckConstraint(
                condition=~models.Q(first=models.F("then")), name="an_item_does_not_wait_for_itself"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first} → {self.then}"


class Consent(ClubRecord):
    """A consent or notice that an item needs from an authority or a neighbour."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="consents")
    name = models.CharField(max_length=120)
    authority = models.CharField(max_length=120, blank=True)
    asked_on = models.DateField(null=True, blank=True)
    granted_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True)
    notes = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.name

    def missing_on(self, on: date) -> str:
        """What is wrong with working on that day, in words; "" while the consent is in force."""
        if self.granted_on is None or self.granted_on > on:
            lacks = "is not granted"
        elif self.expires_on is not None and self.expires_on < on:
            lacks = f"ran out on {self.expires_on.day} {self.expires_on:%b %Y}"
        else:
            return ""
        return (
            f"{self.name} {lacks}; work before it may be unlawful; confirm with "
            f"{self.authority or 'the authority'}"
        )


class Spend(ClubRecord):
    """Money that has gone out on an item (an invoice, a hire); crew labour is not money out."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="spends")
    spent_on = models.DateField()
    description = models.CharField(max_length=160)
    amount = models.DecimalField(max_digits=12, decimal_places=2)

    class Meta:
        ordering = ["spent_on", "id"]

    def __str__(self) -> str:
        return f"{self.description} {self.amount}"
