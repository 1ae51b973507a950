"""The estimate of each item, line by line, and the rules by which a club estimates."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from math import isfinite

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.calc.build_up import to_penny
from worksprog.calc.ranges import Shape
from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models.prices import BookVersion, Category, Price
from worksprog.works.models.programme import Item

SHARE = [MinValueValidator(0.0), MaxValueValidator(0.95)]


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
    book = models.ForeignKey(
        BookVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    estimate_class = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(5)],
        help_text="5 is an idea, 1 is fully drawn and measured.",
    )
    simulated = models.JSONField(
        default=dict, blank=True, help_text="Hours and money by chance, with seed and draws."
    )
    learnt = models.JSONField(
        default=dict, blank=True, help_text="Which of the crew's learnt rates it uses."
    )
    earth = models.JSONField(
        default=list, blank=True, help_text="Earth it digs out and fills: role, m³, what it is."
    )

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
        """Hours that do in 8 cases of 10, as simulated; without a line there is nothing to draw."""
        hours: float = self.simulated.get("hours", {}).get("P80", self.labour_likely_h)
        return hours

    @property
    def money_p80(self) -> Decimal:
        """Money that does in 8 cases of 10, as simulated; without a line there is nothing to draw."""
        money = self.simulated.get("money", {}).get("P80")
        return self.money_likely if money is None else to_penny(Decimal(str(money)))


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
    measured_low = models.FloatField("quantity before the output rate, low", default=0)
    measured_likely = models.FloatField(default=0)
    measured_high = models.FloatField(default=0)
    measured_unit = models.CharField(max_length=12, blank=True)
    output_code = models.CharField(max_length=40, blank=True)
    output_low = models.FloatField("units an hour, low", null=True, blank=True)
    output_likely = models.FloatField(null=True, blank=True)
    output_high = models.FloatField(null=True, blank=True)
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


class EstimateRules(ClubRecord):
    """How a club estimates: chances, what sways lines together, allowances, discounting."""

    contingency_chance = models.DecimalField(
        "chance that money and hours suffice",
        max_digits=3,
        decimal_places=2,
        default=Decimal("0.80"),
        validators=[MinValueValidator(Decimal("0.50")), MaxValueValidator(Decimal("0.99"))],
    )
    draws = models.PositiveIntegerField(
        default=10_000, validators=[MinValueValidator(1_000), MaxValueValidator(100_000)]
    )
    seed = models.PositiveIntegerField(default=1)
    sway_weather = models.FloatField(default=0.5, validators=SHARE)
    sway_ground = models.FloatField(default=0.5, validators=SHARE)
    sway_supplier = models.FloatField(default=0.5, validators=SHARE)
    sway_hands = models.FloatField(default=0.5, validators=SHARE)
    sway_programme = models.FloatField(default=0.2, validators=SHARE)
    range_shape = models.CharField(
        "curve between low and high",
        max_length=10,
        choices=[(shape.value, shape.value) for shape in Shape],
        default=Shape.BETA_PERT.value,
    )
    design_allowance_percent = models.DecimalField(
        max_digits=5,
        decimal_places=2,
        default=Decimal("0"),
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    discount_percent = models.DecimalField(
        "discount a year, percent",
        max_digits=5,
        decimal_places=2,
        default=Decimal("3.50"),
        validators=[MinValueValidator(-50), MaxValueValidator(50)],
    )
    horizon_years = models.PositiveSmallIntegerField(
        default=20, validators=[MinValueValidator(1), MaxValueValidator(100)]
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_rules")]

    def __str__(self) -> str:
        return "rules of estimating"

    def clean(self) -> None:
        if not isfinite(self.sway_programme):
            raise ValidationError({"sway_programme": "A number from 0 to 0.95 is expected."})
        for name in ("sway_weather", "sway_ground", "sway_supplier", "sway_hands"):
            if not isfinite(getattr(self, name)):
                raise ValidationError({name: "A number from 0 to 0.95 is expected."})
            together = getattr(self, name) + self.sway_programme
            if together > 1:
                raise ValidationError(
                    {
                        name: f"With the share of the whole programme this makes {together:.2f} "
                        "of a figure's sway; at most 1 can be shared out."
                    }
                )


class LearntRate(ClubRecord):
    """What the crew's own hours say of one kind of work, taken into use by the manager."""

    kind = models.SlugField(max_length=40)
    ground = models.CharField(max_length=10, blank=True)
    crew = models.CharField(max_length=40, blank=True)
    as_of = models.DateField()
    posterior = models.JSONField(
        default=dict, help_text="The prior, the evidence and what follows, all its arithmetic."
    )
    factor_low = models.FloatField("hours against the book, low")
    factor_likely = models.FloatField("hours against the book")
    factor_high = models.FloatField("hours against the book, high")
    in_use = models.BooleanField(default=True)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["kind", "ground", "crew", "-as_of", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["club", "kind", "ground", "crew"],
                condition=models.Q(in_use=True),
                name="one_learnt_rate_in_use",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.factor_likely:.2f} of the book"
