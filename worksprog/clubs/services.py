"""What changes clubs and their people."""

from __future__ import annotations

import secrets

from django.contrib.auth.forms import PasswordResetForm
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest

from worksprog.clubs.models import Club, Membership, Role, User
from worksprog.clubs.records import save_record


@transaction.atomic
def start_club(
    *,
    name: str,
    slug: str,
    manager: User,
    epsg: int = 27700,
    currency: str = "GBP",
    year_start_month: int = 4,
    time_zone: str = "Europe/London",
    is_demo: bool = False,
) -> Club:
    """A new club with its first manager. ValidationError when a setting is not sound."""
    club = Club(
        name=name,
        slug=slug,
        epsg=epsg,
        currency=currency,
        year_start_month=year_start_month,
        time_zone=time_zone,
        is_demo=is_demo,
    )
    club.full_clean()
    save_record(club, by=manager)
    save_record(Membership(club=club, user=manager, role=Role.MANAGER), by=manager)
    return club


@transaction.atomic
def make_person(*, email: str, first_name: str, last_name: str, password: str | None) -> User:
    """A person who may sign in; without a password they set one from an e-mailed link."""
    if password is not None:
        validate_password(password)
    person = User(email=email.strip().lower(), first_name=first_name, last_name=last_name)
    person.set_password(password if password is not None else secrets.token_urlsafe(40))
    person.full_clean()
    person.save()
    return person


@transaction.atomic
def add_member(
    *, club: Club, email: str, first_name: str, last_name: str, role: str, by: User
) -> tuple[Membership, bool]:
    """Give a person a role in the club; the second value tells whether they are new here at all."""
    person = User.objects.filter(email__iexact=email.strip()).first()
    is_new = person is None
    if person is None:
        person = make_person(email=email, first_name=first_name, last_name=last_name, password=None)
    membership = Membership.objects.filter(club=club, user=person).first()
    if membership is not None and membership.is_active:
        raise ValidationError(f"{person.email} is already {membership.get_role_display()} here.")
    membership = membership or Membership(club=club, user=person)
    membership.role, membership.is_active = role, True
    return save_record(membership, by=by), is_new


@transaction.atomic
def change_member(*, membership: Membership, role: str, is_active: bool, by: User) -> Membership:
    """Change a role or close it; a club keeps at least one manager."""
    others = Membership.objects.select_for_update().filter(
        club=membership.club, role=Role.MANAGER, is_active=True
    )
    keeps_a_manager = (role == Role.MANAGER and is_active) or others.exclude(
        pk=membership.pk
    ).exists()
    if not keeps_a_manager:
        raise ValidationError(
            "A club needs at least one course manager; give somebody else the role first."
        )
    membership.role, membership.is_active = role, is_active
    return save_record(membership, by=by)


def invite(*, person: User, request: HttpRequest) -> None:
    """E-mail a new person the link by which they choose a password."""
    form = PasswordResetForm({"email": person.email})
    if form.is_valid():
        form.save(
            request=request,
            use_https=request.is_secure(),
            email_template_name="clubs/invitation.txt",
            subject_template_name="clubs/invitation_subject.txt",
        )
