"""A club's own kinds of work, as data."""

from __future__ import annotations

from django.db import models

from worksprog.clubs.models import ClubRecord


class WorkRecipe(ClubRecord):
    """One kind of work of the club's own: what is measured, formulas, lines, worked numbers."""

    code = models.SlugField(max_length=40)
    title = models.CharField(max_length=80)
    definition = models.JSONField(default=dict)
    examples = models.JSONField(
        default=list, blank=True, help_text="Given figures and what must come out of them."
    )
    version = models.PositiveIntegerField(default=1)
    is_offered = models.BooleanField("offered for new items", default=True)

    class Meta:
        ordering = ["title"]
        constraints = [models.UniqueConstraint(fields=["club", "code"], name="one_recipe_per_code")]

    def __str__(self) -> str:
        return self.title
