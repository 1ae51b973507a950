"""A price file that has been read and waits to be accepted."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from worksprog.clubs.models import ClubRecord, User
from worksprog.works.models.prices import BookVersion


class PriceDraft(ClubRecord):
    """What a file brings; the book stays as it is until somebody accepts it, and then once."""

    file_name = models.CharField(max_length=200)
    read_at = models.DateTimeField(default=timezone.now)
    read_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    rows = models.JSONField(default=list, blank=True, help_text="Row number and entry.")
    refusals = models.JSONField(default=list, blank=True, help_text="Row number, code and why.")
    unread = models.JSONField(default=list, blank=True, help_text="Sheets that were not looked at.")
    taken_as = models.ForeignKey(
        BookVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="drafts"
    )
    taken_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-read_at"]

    def __str__(self) -> str:
        return f"price file {self.file_name}"
