"""The fixed cast of the tests: two clubs and the people in them, made through the services."""

from __future__ import annotations

from dataclasses import dataclass

from worksprog.clubs.models import Club, Membership, Role, User
from worksprog.clubs.services import add_member, start_club

PASSWORD = "a-long-enough-word"


def make_user(email: str, first_name: str, last_name: str) -> User:
    return User.objects.create_user(email, PASSWORD, first_name=first_name, last_name=last_name)


@dataclass
class Cast:
    """Manager, committee member and two of the staff of one club; the manager of another."""

    club: Club
    manager: User
    committee: User
    staff: User
    other_staff: User
    other_club: Club
    stranger: User

    def membership(self, user: User) -> Membership:
        return Membership.objects.select_related("club").get(club=self.club, user=user)


def make_cast() -> Cast:
    manager = make_user("manager@first.example", "Mara", "Quill")
    stranger = make_user("manager@second.example", "Otto", "Reed")
    club = start_club(name="First Club", slug="first", manager=manager)
    other = start_club(name="Second Club", slug="second", manager=stranger)
    people = {}
    for role, email, first, last in (
        (Role.COMMITTEE, "committee@first.example", "Cato", "Marsh"),
        (Role.STAFF, "staff@first.example", "Sam", "Thorne"),
        (Role.STAFF, "staff2@first.example", "Ada", "Wick"),
    ):
        user = make_user(email, first, last)
        add_member(club=club, email=email, first_name=first, last_name=last, role=role, by=manager)
        people[email] = user
    return Cast(
        club=club,
        manager=manager,
        committee=people["committee@first.example"],
        staff=people["staff@first.example"],
        other_staff=people["staff2@first.example"],
        other_club=other,
        stranger=stranger,
    )
