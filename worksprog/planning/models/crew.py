"""Who does the work: people by grade and skill, and their absences."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord, Membership


class Grade(ClubRecord):
    """A grade of the crew."""

    name = models.CharField(max_length=60)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["club", "name"], name="one_grade_per_name")]

    def __str__(self) -> str:
        return self.name


class CrewMember(ClubRecord):
    """One person of the crew as the plan counts on him or her."""

    name = models.CharField(max_length=80)
    membership = models.ForeignKey(
        Membership, null=True, blank=True, on_delete=models.SET_NULL, related_name="crew_members"
    )
    grade = models.ForeignKey(Grade, on_delete=models.PROTECT, related_name="members")
    skills = models.JSONField(default=list, blank=True)
    day_h = models.FloatField(
        "hours on a working day",
        default=8.0,
        validators=[MinValueValidator(0), MaxValueValidator(16)],
    )
    weekdays = models.JSONField(
        default=list, blank=True, help_text="0 Monday to 6 Sunday; empty: the club's own days."
    )
    employed_from = models.DateField(null=True, blank=True)
    employed_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def clean(self) -> None:
        if self.employed_from and self.employed_to and self.employed_to < self.employed_from:
            raise ValidationError({"employed_to": "The last day is before the first."})


class Absence(ClubRecord):
    """Days on which somebody is not there for works; nobody named means the whole crew."""

    class Why(models.TextChoices):
        HOLIDAY = "holiday", "holiday"
        TRAINING = "training", "training"
        SICKNESS = "sickness", "sickness"
        OTHER = "other", "something else"

    member = models.ForeignKey(
        CrewMember, null=True, blank=True, on_delete=models.CASCADE, related_name="absences"
    )
    why = models.CharField(max_length=10, choices=Why.choices, default=Why.HOLIDAY)
    from_date = models.DateField()
    to_date = models.DateField()
    note = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["from_date", "id"]

    def __str__(self) -> str:
        return f"{self.get_why_display()}, {self.from_date} to {self.to_date}"

    def clean(self) -> None:
        if self.from_date and self.to_date and self.to_date < self.from_date:
            raise ValidationError({"to_date": "The last day is before the first."})
