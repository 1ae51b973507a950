"""The club's year: working windows, the usual week, closures."""

from __future__ import annotations

from calendar import month_name

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.calc.workdays import MonthDay
from worksprog.clubs.models import ClubRecord
from worksprog.works.models import WorkKind

_MONTH = [MinValueValidator(1), MaxValueValidator(12)]
_DAY = [MinValueValidator(1), MaxValueValidator(31)]


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
