"""What a club holds its drains to, beyond carrying the water."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from worksprog.calc.network.tidy import TidyLimits
from worksprog.clubs.models import ClubRecord

_METRES = [MinValueValidator(0), MaxValueValidator(10)]
USUAL = TidyLimits()


class TidyRules(ClubRecord):
    """A club's own limits: one row a club, made when first changed."""

    path_cover_m = models.FloatField(
        "cover under a path or buggy route (m)", default=USUAL.path_cover_m, validators=_METRES
    )
    fairway_cover_m = models.FloatField(
        "cover under fairway, tee or green (m)", default=USUAL.fairway_cover_m, validators=_METRES
    )
    open_cover_m = models.FloatField(
        "cover elsewhere (m)", default=USUAL.open_cover_m, validators=_METRES
    )
    cover_free_m = models.FloatField(
        "none asked beside an open end, for (m)", default=USUAL.cover_free_m, validators=_METRES
    )
    velocity_ms = models.FloatField(
        "least velocity, running full (m/s)", default=USUAL.velocity_ms, validators=_METRES
    )
    drop_m = models.FloatField(
        "drop without a backdrop (m)", default=USUAL.drop_m, validators=_METRES
    )
    crossing_m = models.FloatField(
        "between drains that cross (m)", default=USUAL.crossing_m, validators=_METRES
    )
    service_m = models.FloatField(
        "between a drain and a service (m)", default=USUAL.service_m, validators=_METRES
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["club"], name="one_set_of_tidy_rules")]

    def __str__(self) -> str:
        return "tidy rules of the drains"

    def limits(self) -> TidyLimits:
        return TidyLimits(
            path_cover_m=self.path_cover_m,
            fairway_cover_m=self.fairway_cover_m,
            open_cover_m=self.open_cover_m,
            cover_free_m=self.cover_free_m,
            velocity_ms=self.velocity_ms,
            drop_m=self.drop_m,
            crossing_m=self.crossing_m,
            service_m=self.service_m,
        )
