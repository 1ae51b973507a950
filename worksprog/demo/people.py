"""The people of Ashlode Vale and their club."""

from __future__ import annotations

from dataclasses import dataclass

from worksprog.clubs.models import Club, Membership, Role, User
from worksprog.clubs.services import add_member, make_person, start_club
from worksprog.demo.programme import COMMITTEE, CREW, MANAGER

SLUG = "ashlode-vale"
DOMAIN = "ashlodevale.example"
PASSWORD = "ashlode-demo"  # noqa: S105 - printed for everyone, and only where DEBUG is on


@dataclass(frozen=True)
class People:
    club: Club
    manager: User
    crew: list[Membership]


def _person(local: str, name: tuple[str, str], password: str | None) -> User:
    return make_person(
        email=f"{local}@{DOMAIN}", first_name=name[0], last_name=name[1], password=password
    )


def make_people() -> People:
    """The club, its manager, two of the committee and a crew of six."""
    manager = _person("manager", MANAGER, PASSWORD)
    club = start_club(name="Ashlode Vale Golf Club", slug=SLUG, manager=manager, is_demo=True)
    for k, name in enumerate(COMMITTEE):
        local = "committee" if k == 0 else f"{name[0]}.{name[1]}".lower()
        _person(local, name, PASSWORD if k == 0 else None)
        add_member(
            club=club,
            email=f"{local}@{DOMAIN}",
            first_name=name[0],
            last_name=name[1],
            role=Role.COMMITTEE,
            by=manager,
        )
    crew = []
    for k, name in enumerate(CREW):
        local = "staff" if k == 0 else f"{name[0]}.{name[1]}".lower()
        _person(local, name, PASSWORD if k == 0 else None)
        membership, _ = add_member(
            club=club,
            email=f"{local}@{DOMAIN}",
            first_name=name[0],
            last_name=name[1],
            role=Role.STAFF,
            by=manager,
        )
        crew.append(membership)
    return People(club, manager, crew)
