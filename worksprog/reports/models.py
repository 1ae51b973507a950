"""Committee reports: drafted, issued, and then frozen."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models import Programme, Project


class Report(ClubRecord):
    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        ISSUED = "issued", "issued"

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", "Letter"

    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="reports")
    number = models.PositiveIntegerField(null=True, blank=True)
    title = models.CharField(max_length=120)
    addressed_to = models.CharField(max_length=120, default="the greens committee")
    meeting_on = models.DateField(null=True, blank=True)
    from_date = models.DateField()
    to_date = models.DateField()
    paper = models.CharField(max_length=6, choices=Paper.choices, default=Paper.A4)
    opening = models.TextField("the manager's own words", blank=True)
    state = models.CharField(max_length=6, choices=State.choices, default=State.DRAFT)
    figures = models.JSONField(null=True, blank=True, help_text="Everything the PDF is made from.")
    pdf = models.BinaryField(null=True, blank=True, editable=True)
    pdf_made_at = models.DateTimeField(null=True, blank=True)
    fingerprint = models.CharField(max_length=64, blank=True, help_text="SHA-256 of the figures.")
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField(null=True, blank=True)
    issued_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.UniqueConstraint(fields=["club", "number"], name="one_report_per_number"),
            models.CheckConstraint(
                condition=models.Q(state="draft", number=None)
                | models.Q(
                    state="issued",
                    number__isnull=False,
                    figures__isnull=False,
                    issued_at__isnull=False,
                ),
                name="an_issued_report_has_number_and_figures",
            ),
        ]

    def __str__(self) -> str:
        return f"Report {self.number}" if self.number else f"Draft: {self.title}"

    def clean(self) -> None:
        if self.from_date and self.to_date and self.to_date < self.from_date:
            raise ValidationError({"to_date": "The period ends before it begins."})

    @property
    def is_issued(self) -> bool:
        return self.state == self.State.ISSUED


class Decision(ClubRecord):
    """A question put to the committee in a report, and its answer."""

    class Answer(models.TextChoices):
        OPEN = "open", "open"
        AGREED = "agreed", "agreed"
        HELD = "held", "held over"
        REFUSED = "refused", "refused"

    report = models.ForeignKey(Report, on_delete=models.CASCADE, related_name="decisions")
    order = models.PositiveSmallIntegerField(default=1)
    question = models.TextField()
    project = models.ForeignKey(
        Project, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    amount = models.DecimalField(
        max_digits=12,
        decimal_places=2,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
    )
    answer = models.CharField(max_length=8, choices=Answer.choices, default=Answer.OPEN)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    words = models.TextField(blank=True)

    class Meta:
        ordering = ["report", "order", "id"]

    def clean(self) -> None:
        if self.amount is not None and self.project is None:
            raise ValidationError({"project": "Money is released to a project: name which one."})

    def __str__(self) -> str:
        return self.question[:80]
