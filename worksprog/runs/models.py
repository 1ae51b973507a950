"""One row for each long job: what was asked, how far it is, how it ended."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import Any, ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone


class RunState(models.TextChoices):
    QUEUED = "queued", "waiting for a worker"
    RUNNING = "running", "at work"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    CANCELLED = "cancelled", "cancelled"


ENDED = (RunState.DONE, RunState.FAILED, RunState.CANCELLED)


def is_stale(*, now: datetime) -> models.Q:
    oldest = now - timedelta(seconds=settings.RUN_STALE_AFTER_S)
    return models.Q(state=RunState.RUNNING, heartbeat_at__lt=oldest)


class RunQuerySet(models.QuerySet["Run"]):
    def open(self) -> RunQuerySet:
        return self.exclude(state__in=ENDED)

    def stale(self, *, now: datetime) -> RunQuerySet:
        """Said to be at work, with no sign of life for so long that its worker is taken for dead."""
        return self.filter(is_stale(now=now))

    def unanswered(self, *, now: datetime) -> RunQuerySet:
        """Queued, with a message to the worker that may have been lost."""
        oldest = now - timedelta(seconds=settings.RUN_STALE_AFTER_S)
        return self.filter(state=RunState.QUEUED, sent_at__lt=oldest)


class Run(models.Model):
    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    club = models.ForeignKey("clubs.Club", null=True, on_delete=models.CASCADE, related_name="runs")
    kind = models.CharField(max_length=80)
    state = models.CharField(max_length=10, choices=RunState.choices, default=RunState.QUEUED)
    percent = models.PositiveSmallIntegerField(default=0)
    words = models.CharField(max_length=200, blank=True)
    inputs = models.JSONField(default=dict)
    outcome = models.JSONField(default=dict)
    error = models.TextField(blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    # The worker that holds the run proves it by this; a worker given up for dead no longer can.
    claim = models.UUIDField(null=True, editable=False)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(default=timezone.now)
    started_at = models.DateTimeField(null=True)
    heartbeat_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    cancel_asked = models.BooleanField(default=False)
    cancel_asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects: ClassVar[Any] = RunQuerySet.as_manager()

    class Meta:
        ordering = ["-asked_at", "-id"]
        indexes = [
            models.Index(fields=["club", "-asked_at"]),
            models.Index(fields=["state", "heartbeat_at"]),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(percent__lte=100), name="run_percent_at_most_100"
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=RunState.values), name="run_state_known"
            ),
            models.CheckConstraint(
                condition=models.Q(state__in=ENDED, ended_at__isnull=False)
                | (~models.Q(state__in=ENDED) & models.Q(ended_at__isnull=True)),
                name="run_ended_has_its_time",
            ),
            models.CheckConstraint(
                condition=~models.Q(state=RunState.RUNNING)
                | models.Q(claim__isnull=False, heartbeat_at__isnull=False),
                name="run_at_work_has_its_claim",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} ({self.get_state_display()})"

    @property
    def has_ended(self) -> bool:
        return self.state in ENDED

    @property
    def stop_words(self) -> str:
        from worksprog.runs.registry import Job, UnknownJob, get_job

        try:
            return get_job(self.kind).stop_words
        except UnknownJob:
            return Job.stop_words

    @property
    def title(self) -> str:
        """What the job is called on the page; a kind that is no longer known keeps its own name."""
        from worksprog.runs.registry import UnknownJob, get_job

        try:
            return get_job(self.kind).title
        except UnknownJob:
            return self.kind
