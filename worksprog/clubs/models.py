"""The club (the tenant), its people and their roles, and the record of every change."""

from __future__ import annotations

import uuid
import zoneinfo
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar, NoReturn

from django.contrib.auth.models import AbstractUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.utils import timezone


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **extra: Any) -> User:
        if not email:
            raise ValueError("A person needs an e-mail address to sign in with.")
        user = self.model(email=self.normalize_email(email).lower(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **extra: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **extra)

    def get_by_natural_key(self, username: str | None) -> User:
        return self.get(email__iexact=username)


class User(AbstractUser):
    """A person who signs in by e-mail address."""

    username = None  # type: ignore[assignment]
    email = models.EmailField("e-mail address", unique=True)
    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[UserManager] = UserManager()  # type: ignore[assignment]

    def __str__(self) -> str:
        return self.get_full_name() or self.email

    @property
    def initialled(self) -> str:
        """'R. Imrie', as a title block writes a name."""
        if self.first_name and self.last_name:
            return f"{self.first_name[0]}. {self.last_name}"
        return str(self)


def check_epsg(value: int) -> None:
    from worksprog.calc.grid import describe_grid

    try:
        grid = describe_grid(value)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    if not grid.projected_in_metres:
        raise ValidationError(
            f"EPSG {value} ({grid.name}) is not a projected grid in metres; levels and lengths "
            "need one, for example 27700 for Great Britain."
        )


def check_time_zone(value: str) -> None:
    if value not in zoneinfo.available_timezones():
        raise ValidationError(f"“{value}” is not a time zone; expected a name like Europe/London.")


class Club(models.Model):
    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=60, unique=True)
    epsg = models.PositiveIntegerField("grid (EPSG code)", default=27700, validators=[check_epsg])
    currency = models.CharField(
        max_length=3,
        default="GBP",
        validators=[RegexValidator(r"^[A-Z]{3}$", "Three letters, as GBP.")],
    )
    year_start_month = models.PositiveSmallIntegerField(
        "financial year starts in month",
        default=4,
        validators=[MinValueValidator(1), MaxValueValidator(12)],
    )
    tax_name = models.CharField("name of the sales tax", max_length=12, default="VAT")
    tax_percent = models.DecimalField(
        "sales tax, percent",
        max_digits=5,
        decimal_places=2,
        default=Decimal("20"),
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    tax_recovered_percent = models.DecimalField(
        "share of the tax that the club recovers, percent",
        max_digits=5,
        decimal_places=2,
        default=Decimal("0"),
        validators=[MinValueValidator(0), MaxValueValidator(100)],
    )
    time_zone = models.CharField(
        max_length=50, default="Europe/London", validators=[check_time_zone]
    )
    working_day_h = models.DecimalField(
        "working day (hours)",
        max_digits=4,
        decimal_places=2,
        default=8,
        validators=[MinValueValidator(1), MaxValueValidator(16)],
    )
    is_demo = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    def __str__(self) -> str:
        return self.name

    def today(self) -> date:
        """The date on the club's own wall."""
        return timezone.localdate(timezone=zoneinfo.ZoneInfo(self.time_zone))

    @property
    def currency_sign(self) -> str:
        return {"GBP": "£", "EUR": "€", "USD": "$"}.get(self.currency, f"{self.currency} ")


class Role(models.TextChoices):
    MANAGER = "manager", "course manager"
    COMMITTEE = "committee", "committee"
    STAFF = "staff", "staff"


class Membership(models.Model):
    """One person's one role in one club."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role.choices)
    is_active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["club", "user"], name="one_role_per_person_and_club")
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.get_role_display()}, {self.club})"


class ClubRecord(models.Model):
    """A row that belongs to one club and is known outside by its uuid, never its key."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="+")

    class Meta:
        abstract = True


class AddedOnlyRows(models.QuerySet[Any]):
    """Rows that no bulk call changes or removes."""

    def _refuse(self) -> NoReturn:
        raise ValidationError(getattr(self.model, "kept_words", AddedOnly.kept_words))

    def update(self, **kwargs: Any) -> NoReturn:
        self._refuse()

    def delete(self) -> NoReturn:
        self._refuse()

    def bulk_update(self, *args: Any, **kwargs: Any) -> NoReturn:
        self._refuse()


class AddedOnly(ClubRecord):
    """A record that is added and then stands as it is."""

    kept_words = "This is kept as it is; add a later one."
    objects = AddedOnlyRows.as_manager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise ValidationError(self.kept_words)
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise ValidationError(self.kept_words)


class Change(models.Model):
    """Who changed which record, when, from what to what. Rows are only ever added."""

    club = models.ForeignKey(Club, on_delete=models.CASCADE, related_name="changes")
    at = models.DateTimeField(default=timezone.now)
    by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    action = models.CharField(
        max_length=8,
        choices=[("added", "added"), ("changed", "changed"), ("removed", "removed")],
    )
    kind = models.CharField(max_length=60)
    record_uuid = models.UUIDField(null=True)
    label = models.CharField(max_length=200)
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [
            models.Index(fields=["club", "-at"]),
            models.Index(fields=["club", "kind", "record_uuid"]),
        ]

    def __str__(self) -> str:
        return f"{self.label} {self.action} {self.at:%d %b %Y %H:%M}"
