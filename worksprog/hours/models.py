"""Hours the crew logged, append-only once approved."""

from __future__ import annotations

import uuid

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from worksprog.clubs.models import AddedOnly, ClubRecord, Membership, User
from worksprog.works.models import Item


class RoutineKind(models.TextChoices):
    LEAVES = "leaves", "leaves"
    MOWING = "mowing", "mowing"
    BUNKERS = "bunkers", "bunkers"
    WET_GROUND = "wet_ground", "wet ground by hand"
    GREENS = "greens", "greens"
    MACHINES = "machines", "machines"
    EVENTS = "events", "events and setting up"
    TRAINING = "training", "training"
    OTHER = "other", "other routine work"


class Ground(models.TextChoices):
    DRY = "dry", "dry"
    SHOWERS = "showers", "showers"
    STOOD_DOWN = "stood_down", "too wet, stood down"


class HourEntryQuerySet(models.QuerySet["HourEntry"]):
    def standing(self) -> HourEntryQuerySet:
        """What somebody still says was worked: not withdrawn, not corrected by a later row."""
        return self.exclude(state="withdrawn").filter(corrected_by__isnull=True)

    def counted(self) -> HourEntryQuerySet:
        """What counts as worked and done: standing, and not in question."""
        return self.standing().exclude(state="queried")


class HourEntry(ClubRecord):
    """One person's hours on one job (or one kind of routine work) on one day."""

    class State(models.TextChoices):
        LOGGED = "logged", "logged"
        APPROVED = "approved", "approved"
        QUERIED = "queried", "queried"
        WITHDRAWN = "withdrawn", "withdrawn"

    client_id = models.UUIDField(
        default=uuid.uuid4, help_text="Made on the phone: a resend is known by it."
    )
    person = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="hours")
    item = models.ForeignKey(
        Item, null=True, blank=True, on_delete=models.PROTECT, related_name="hours"
    )
    routine = models.CharField(max_length=10, choices=RoutineKind.choices, blank=True)
    worked_on = models.DateField()
    hours = models.DecimalField(
        max_digits=4, decimal_places=1, validators=[MinValueValidator(0), MaxValueValidator(24)]
    )
    quantity = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    ground = models.CharField(max_length=10, choices=Ground.choices, blank=True)
    note = models.CharField(max_length=500, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.LOGGED)
    logged_at = models.DateTimeField(default=timezone.now)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=200, blank=True)
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )

    objects = HourEntryQuerySet.as_manager()

    class Meta:
        ordering = ["-worked_on", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["club", "client_id"], name="logged_once"),
            models.CheckConstraint(
                condition=(
                    (models.Q(item__isnull=False) & models.Q(routine=""))
                    | (models.Q(item__isnull=True) & ~models.Q(routine=""))
                ),
                name="a_job_or_routine_work",
            ),
            models.CheckConstraint(
                condition=models.Q(hours__gte=0) & models.Q(hours__lte=24), name="hours_in_a_day"
            ),
        ]
        indexes = [
            models.Index(fields=["club", "worked_on"]),
            models.Index(fields=["item", "worked_on"]),
            models.Index(fields=["person", "worked_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.hours} h on {self.worked_on.day} {self.worked_on:%b %Y}"

    @property
    def what(self) -> str:
        """The job, or the kind of routine work."""
        return self.item.name if self.item else str(self.get_routine_display())

    @property
    def counts(self) -> bool:
        """As ``standing`` of the rows; reads the correcting row where it was not fetched with it."""
        return self.state != self.State.WITHDRAWN and not hasattr(self, "corrected_by")

    @property
    def may_be_changed(self) -> bool:
        """By the one who logged it: until it is approved or withdrawn."""
        return self.state in (self.State.LOGGED, self.State.QUERIED)


class EvidenceWord(AddedOnly):
    """What the manager said of a finished or half-finished job as evidence; the last one stands."""

    class What(models.TextChoices):
        LEFT_OUT = "left_out", "left out"
        TAKEN_IN = "taken_in", "taken in"
        ACCOUNT = "account", "why it came out so"

    kept_words = "What was said of a job is kept as it is; say something later."

    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="evidence_words")
    what = models.CharField(max_length=10, choices=What.choices)
    words = models.CharField("the reason", max_length=300)
    said_at = models.DateTimeField(default=timezone.now)
    said_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["said_at", "id"]

    def __str__(self) -> str:
        return f"{self.item}: {self.get_what_display()}"
