"""When work may be done, the crew's hours, and plans made from them."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models import Item, Programme, WorkKind

_MONTH = [MinValueValidator(1), MaxValueValidator(12)]
_DAY = [MinValueValidator(1), MaxValueValidator(31)]


class WorkWindow(ClubRecord):
    """A part of the year in which a kind of work may go on; it may run over New Year."""

    kind = models.CharField(max_length=16, choices=WorkKind.choices)
    from_month = models.PositiveSmallIntegerField(validators=_MONTH)
    from_day = models.PositiveSmallIntegerField(validators=_DAY)
    to_month = models.PositiveSmallIntegerField(validators=_MONTH)
    to_day = models.PositiveSmallIntegerField(validators=_DAY)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["kind", "from_month", "from_day"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.from_day}/{self.from_month} – {self.to_day}/{self.to_month}"


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


class Plan(ClubRecord):
    """One schedule of a programme; the live one is replaced, a baseline is kept for ever."""

    programme = models.ForeignKey(Programme, on_delete=models.CASCADE, related_name="plans")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    as_of = models.DateField()
    is_live = models.BooleanField(default=True)
    baseline_name = models.CharField(max_length=80, blank=True)
    weeks = models.JSONField(default=list, help_text="week start, hours free, hours planned.")

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
    plan = models.ForeignKey(Plan, on_delete=models.CASCADE, related_name="items")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="planned")
    labour_h = models.FloatField(default=0)
    earliest_start = models.DateField(null=True, blank=True)
    earliest_finish = models.DateField(null=True, blank=True)
    float_days = models.IntegerField(null=True, blank=True)
    is_critical = models.BooleanField(default=False)
    start = models.DateField(null=True, blank=True)
    finish = models.DateField(null=True, blank=True)
    in_play_on = models.DateField(null=True, blank=True)
    hours_by_week = models.JSONField(default=dict)
    waits_for = models.CharField(max_length=200, blank=True)
    not_placed = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["start", "id"]
        constraints = [models.UniqueConstraint(fields=["plan", "item"], name="an_item_once_a_plan")]

    def __str__(self) -> str:
        return str(self.item)
