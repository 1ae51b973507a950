"""When work may be done, the crew's hours, and plans made from them."""

from __future__ import annotations

from calendar import month_name

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.calc.workdays import MonthDay
from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models import Item, Programme, WorkKind

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
    works_sunday = models.BooleanField("works go on on Sundays", default=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_plan_rules")]

    def __str__(self) -> str:
        return "how the crew works"


class WorkWindow(ClubRecord):
    """A part of the year in which a kind of work may go on; it may run over New Year."""

    kind = models.SlugField(max_length=40)
    from_month = models.PositiveSmallIntegerField(validators=_MONTH)
    from_day = models.PositiveSmallIntegerField(validators=_DAY)
    to_month = models.PositiveSmallIntegerField(validators=_MONTH)
    to_day = models.PositiveSmallIntegerField(validators=_DAY)
    reason = models.CharField(max_length=300, blank=True)
    is_firm = models.BooleanField(
        "plans keep inside it",
        default=True,
        help_text="Without the tick a plan may leave the window, and says so.",
    )

    class Meta:
        ordering = ["kind", "from_month", "from_day"]

    def __str__(self) -> str:
        return f"{dict(WorkKind.choices).get(self.kind, self.kind)}: {self.days}"

    @property
    def days(self) -> str:
        return (
            f"{self.from_day} {month_name[self.from_month]} to "
            f"{self.to_day} {month_name[self.to_month]}"
        )

    def clean(self) -> None:
        wrong = {}
        for end in ("from", "to"):
            month, day = getattr(self, f"{end}_month"), getattr(self, f"{end}_day")
            if month is None or day is None:
                continue
            try:
                MonthDay(month, day)
            except ValueError as error:
                wrong[f"{end}_day"] = f"{error}."
        if wrong:
            raise ValidationError(wrong)


class CrewWeek(ClubRecord):
    """The usual week of the year: the crew's hours and what routine work takes of them."""

    week = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(53)]
    )
    crew_h = models.FloatField(
        "crew hours", validators=[MinValueValidator(0), MaxValueValidator(5000)]
    )
    routine_h = models.FloatField("routine hours", validators=[MinValueValidator(0)])
    note = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["week"]
        constraints = [models.UniqueConstraint(fields=["club", "week"], name="one_usual_week")]

    def __str__(self) -> str:
        return f"week {self.week}"

    def clean(self) -> None:
        if self.routine_h is not None and self.crew_h is not None and self.routine_h > self.crew_h:
            raise ValidationError({"routine_h": "Routine work takes more hours than the crew has."})


class Closure(ClubRecord):
    """Days without works: holidays, fixtures, a course closure."""

    name = models.CharField(max_length=80)
    from_date = models.DateField()
    to_date = models.DateField()

    class Meta:
        ordering = ["from_date"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.from_date and self.to_date and self.to_date < self.from_date:
            raise ValidationError({"to_date": "The last day is before the first."})


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
