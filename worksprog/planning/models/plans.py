"""Plans made from the works: rules, what is told of an item, dates, chances, wishes given up."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models import Item, Programme

_MONTH = [MinValueValidator(1), MaxValueValidator(12)]
_DAY = [MinValueValidator(1), MaxValueValidator(31)]


class PlanRules(ClubRecord):
    """How a club's crew works: one row a club, made when first changed."""

    gang = models.PositiveSmallIntegerField(
        "people on one job",
        default=3,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
        help_text="The usual gang: how fast a job goes when the crew has hours enough.",
    )
    works_saturday = models.BooleanField("works go on on Saturdays", default=False)
    sickness_percent = models.FloatField(
        "hours lost to sickness, percent",
        default=3.0,
        validators=[MinValueValidator(0), MaxValueValidator(60)],
    )
    goals = models.JSONField(
        default=list, blank=True, help_text="What counts first: the order of the plan's goals."
    )
    works_sunday = models.BooleanField("works go on on Sundays", default=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_plan_rules")]

    def __str__(self) -> str:
        return "how the crew works"


class ItemPlanning(ClubRecord):
    """What the plan is told about one item beyond its estimate."""

    item = models.OneToOneField(Item, on_delete=models.CASCADE, related_name="planning")
    gang = models.PositiveSmallIntegerField(
        "people on this job",
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(60)],
        help_text="Empty: the club's usual gang.",
    )
    least_days = models.PositiveSmallIntegerField(
        "working days at the least",
        null=True,
        blank=True,
        validators=[MaxValueValidator(1000)],
        help_text="A contractor's days, or days that no crew can shorten.",
    )
    may_spread = models.BooleanField(
        "may run over several winters",
        default=False,
        help_text="Without the tick it is done in one opening of its window.",
    )

    promised_by = models.DateField(
        "promised by", null=True, blank=True, help_text="The last day it may finish."
    )

    def __str__(self) -> str:
        return f"planning of {self.item}"


class Plan(ClubRecord):
    """One schedule of a programme; the live one is replaced, a baseline is kept for ever."""

    programme = models.ForeignKey(Programme, on_delete=models.CASCADE, related_name="plans")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    as_of = models.DateField()
    is_live = models.BooleanField(default=True)
    baseline_name = models.CharField(max_length=80, blank=True)
    baseline_kept_at = models.DateTimeField(null=True, blank=True)
    goal = models.FloatField(null=True, blank=True)
    bound = models.FloatField(
        null=True, blank=True, help_text="No plan can cost less; it may lie far below the best."
    )
    is_best = models.BooleanField("proven best", default=False)
    found_by = models.CharField(max_length=20, blank=True)
    looked_at = models.BigIntegerField(default=0)
    seconds = models.FloatField(default=0)
    conflicts = models.JSONField(
        default=list, blank=True, help_text="Wishes that cannot all be kept, in words."
    )
    reckoning = models.JSONField(
        default=list, blank=True, help_text="words, amount, unit and weight of each goal's part."
    )
    weeks = models.JSONField(
        default=list,
        blank=True,
        help_text="week, crew_h, routine_h, left_h and planned_h of each week.",
    )
    notes = models.JSONField(
        default=list, blank=True, help_text="What the plan could not keep, in words."
    )

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["programme"], condition=models.Q(is_live=True), name="one_live_plan"
            )
        ]

    def __str__(self) -> str:
        return self.baseline_name or f"Plan of {self.made_at:%d %b %Y}"


class PlannedItem(ClubRecord):
    """Dates of one item in one plan. ``finish`` is its last day of work; hours from now on."""

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="items")
    # A baseline is kept for ever: a job goes only together with its whole programme.
    item = models.ForeignKey(Item, on_delete=models.RESTRICT, related_name="planned")
    labour_h = models.FloatField(default=0)
    earliest_start = models.DateField(null=True, blank=True)
    earliest_finish = models.DateField(null=True, blank=True)
    float_days = models.IntegerField(null=True, blank=True)
    is_critical = models.BooleanField(default=False)
    gang = models.PositiveSmallIntegerField(null=True, blank=True)
    start = models.DateField(null=True, blank=True)
    finish = models.DateField(null=True, blank=True)
    in_play_on = models.DateField(null=True, blank=True)
    hours_by_week = models.JSONField(default=dict, blank=True)
    waits_for = models.CharField(max_length=200, blank=True)
    not_placed = models.CharField(max_length=300, blank=True)
    caution = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["start", "id"]
        constraints = [models.UniqueConstraint(fields=["plan", "item"], name="an_item_once_a_plan")]

    def __str__(self) -> str:
        return str(self.item)


class GivenUp(ClubRecord):
    """A wish that the manager gave up by name, so that a plan can be made."""

    programme = models.ForeignKey(Programme, on_delete=models.CASCADE, related_name="given_up")
    wish = models.CharField(max_length=120, help_text="Its name, as the plan knows it.")
    words = models.CharField(max_length=300)
    reason = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["programme", "wish"], name="a_wish_given_up_once")
        ]

    def __str__(self) -> str:
        return self.words


class RiskRun(ClubRecord):
    """Many futures of one plan: when things finish, by chance."""

    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="risk_runs")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    seed = models.PositiveIntegerField(default=1)
    futures = models.PositiveIntegerField(default=10_000)
    results = models.JSONField(default=dict)

    class Meta:
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"{self.futures:,} futures"
