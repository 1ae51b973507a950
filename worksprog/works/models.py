"""Programme > project > phase > item; the estimate of each; the club's price book."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.calc.build_up import to_penny
from worksprog.calc.ranges import EIGHT_IN_TEN
from worksprog.clubs.models import ClubRecord, User
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
    kind = models.CharField(max_length=16, choices=WorkKind.choices)
    name = models.CharField(max_length=120)
    order = models.PositiveSmallIntegerField(default=1)
    features = models.ManyToManyField(Feature, blank=True, related_name="items")
    holes = models.ManyToManyField(Hole, blank=True, related_name="items")
    state = models.CharField(max_length=12, choices=ItemState.choices, default=ItemState.PROPOSED)
    not_before = models.DateField(null=True, blank=True)
    by_contractor = models.BooleanField("by contractor", default=False)
    max_share = models.DecimalField(
        "largest share of the crew's free week",
        max_digits=3,
        decimal_places=2,
        default=Decimal("1.00"),
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


class Category(models.TextChoices):
    LABOUR = "labour", "labour"
    PLANT = "plant", "plant"
    MATERIAL = "material", "material"
    HAULAGE = "haulage", "haulage"
    CONTRACTOR = "contractor", "contractor"


_LEAST_RATE = Decimal("0.0001")


def _rises(row: Price | OutputRate) -> bool:
    """True as well while one of the three is missing: its own field says so then."""
    figures = (row.low, row.likely, row.high)
    return None in figures or row.low <= row.likely <= row.high


class Price(ClubRecord):
    """One line of the price book: what a unit costs, from where and as of when."""

    category = models.CharField(max_length=10, choices=Category.choices)
    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=120)
    unit = models.CharField(max_length=12)
    low = models.DecimalField(max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    likely = models.DecimalField(max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    high = models.DecimalField(max_digits=12, decimal_places=2, validators=[MinValueValidator(0)])
    source = models.CharField(max_length=200, blank=True)
    dated = models.DateField()
    is_confirmed = models.BooleanField("confirmed by the club", default=False)

    class Meta:
        ordering = ["category", "name"]
        constraints = [models.UniqueConstraint(fields=["club", "code"], name="one_price_per_code")]

    def __str__(self) -> str:
        return f"{self.name} per {self.unit}"

    def clean(self) -> None:
        if not _rises(self):
            raise ValidationError("Low, likely and high must rise in that order.")


class OutputRate(ClubRecord):
    """How many units one person or one machine does in an hour, as the club has it."""

    code = models.SlugField(max_length=40)
    name = models.CharField(max_length=120)
    unit = models.CharField("unit of what is done", max_length=12)
    low = models.DecimalField(
        "an hour, low", max_digits=10, decimal_places=4, validators=[MinValueValidator(_LEAST_RATE)]
    )
    likely = models.DecimalField(
        "an hour, likely",
        max_digits=10,
        decimal_places=4,
        validators=[MinValueValidator(_LEAST_RATE)],
    )
    high = models.DecimalField(
        "an hour, high",
        max_digits=10,
        decimal_places=4,
        validators=[MinValueValidator(_LEAST_RATE)],
    )
    source = models.CharField(max_length=200, blank=True)
    dated = models.DateField()
    is_confirmed = models.BooleanField("confirmed by the club", default=False)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["club", "code"], name="one_rate_per_code")]

    def __str__(self) -> str:
        return f"{self.name}: {self.likely.normalize():f} {self.unit}/h"

    def clean(self) -> None:
        if not _rises(self):
            raise ValidationError("Low, likely and high must rise in that order.")


class Estimate(ClubRecord):
    """The live estimate of an item; once approved it is kept and a later one is a new row."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="estimates")
    revision = models.PositiveSmallIntegerField(default=1)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    measured = models.JSONField(
        default=list,
        blank=True,
        help_text="What was measured: name, value, unit, from which features, how.",
    )
    feature_versions = models.JSONField(
        default=dict, blank=True, help_text="uuid → version and levels when measured."
    )
    parameters = models.JSONField(
        default=dict, blank=True, help_text="Figures of design the recipe used."
    )
    quantity = models.FloatField("main quantity", default=0)
    unit = models.CharField(max_length=12, default="m")
    approved_on = models.DateField(null=True, blank=True)
    is_live = models.BooleanField(default=True)
    labour_low_h = models.FloatField(default=0)
    labour_likely_h = models.FloatField(default=0)
    labour_high_h = models.FloatField(default=0)
    money_low = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    money_likely = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    money_high = models.DecimalField(max_digits=12, decimal_places=2, default=Decimal("0"))
    labour_mean_h = models.FloatField(default=0)
    labour_sd_h = models.FloatField(default=0)
    money_mean = models.FloatField(default=0)
    money_sd = models.FloatField(default=0)
    working = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["item", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["item", "revision"], name="one_estimate_per_revision"),
            models.UniqueConstraint(
                fields=["item"], condition=models.Q(is_live=True), name="one_live_estimate"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item}, estimate {self.revision}"

    @property
    def labour_p80_h(self) -> float:
        """Hours that do in 8 cases of 10, by the normal approximation."""
        high = max(self.labour_high_h, self.labour_mean_h)
        return min(self.labour_mean_h + EIGHT_IN_TEN * self.labour_sd_h, high)

    @property
    def money_p80(self) -> Decimal:
        """Money that does in 8 cases of 10, by the normal approximation."""
        value = Decimal(str(round(self.money_mean + EIGHT_IN_TEN * self.money_sd, 2)))
        return min(value, max(self.money_high, self.money_likely))


MOST_PLACES = 6  # of a quantity, where its price is so high that fewer do not tell the amount


class EstimateLine(ClubRecord):
    estimate = models.ForeignKey(Estimate, on_delete=models.CASCADE, related_name="lines")
    order = models.PositiveSmallIntegerField(default=1)
    category = models.CharField(max_length=10, choices=Category.choices)
    step = models.CharField(max_length=40, blank=True)
    description = models.CharField(max_length=160)
    price = models.ForeignKey(
        Price, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    unit = models.CharField(max_length=12)
    quantity_low = models.FloatField()
    quantity_likely = models.FloatField()
    quantity_high = models.FloatField()
    rate_low = models.DecimalField(max_digits=12, decimal_places=2)
    rate_likely = models.DecimalField(max_digits=12, decimal_places=2)
    rate_high = models.DecimalField(max_digits=12, decimal_places=2)
    amount_low = models.DecimalField(max_digits=12, decimal_places=2)
    amount_likely = models.DecimalField(max_digits=12, decimal_places=2)
    amount_high = models.DecimalField(max_digits=12, decimal_places=2)
    is_by_hand = models.BooleanField(
        default=False, help_text="Changed by a person, kept on re-measuring."
    )
    working = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["order", "id"]

    def __str__(self) -> str:
        return self.description

    @property
    def quantity_places(self) -> int:
        """Decimals with which the likely quantity times its price is the amount to the penny."""
        exact = Decimal(repr(float(self.quantity_likely)))
        for places in range(1, MOST_PLACES):
            shown = exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
            if to_penny(shown * self.rate_likely) == self.amount_likely:
                return places
        return MOST_PLACES


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
