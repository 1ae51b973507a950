"""Money by financial year, as the committee releases it."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models

from worksprog.clubs.models import ClubRecord
from worksprog.works.models import Programme, Project


class MoneyRelease(ClubRecord):
    """Money that may be spent from a day on: for the programme, or for one project only."""

    programme = models.ForeignKey(
        Programme, on_delete=models.CASCADE, related_name="money_releases"
    )
    project = models.ForeignKey(
        Project, null=True, blank=True, on_delete=models.CASCADE, related_name="money_releases"
    )
    from_date = models.DateField("may be spent from")
    amount = models.DecimalField(
        max_digits=12, decimal_places=2, validators=[MinValueValidator(Decimal("0"))]
    )
    words = models.CharField("decided", max_length=200, blank=True)

    class Meta:
        ordering = ["from_date", "id"]

    def __str__(self) -> str:
        return f"{self.amount} from {self.from_date}"
