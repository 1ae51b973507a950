"""Which role may do what: one table, read by the door and walked by the tests."""

from __future__ import annotations

from worksprog.clubs.models import Role

_M, _C, _S = Role.MANAGER, Role.COMMITTEE, Role.STAFF

MAY: dict[str, frozenset[Role]] = {
    "club.read": frozenset({_M, _C, _S}),
    "club.settle": frozenset({_M}),  # settings and people
    "changes.read": frozenset({_M, _C}),
    "runs.read": frozenset({_M, _C}),
    "runs.cancel": frozenset({_M}),
    "course.read": frozenset({_M, _C, _S}),
    "course.draw": frozenset({_M}),
    "survey.import": frozenset({_M}),
    "drainage.read": frozenset({_M, _C, _S}),
    "drainage.design": frozenset({_M}),
    "drainage.measure": frozenset({_M, _S}),
    "works.read": frozenset({_M, _C}),
    "works.plan": frozenset({_M}),
    "planning.read": frozenset({_M, _C}),
    "planning.plan": frozenset({_M}),
    "hours.log": frozenset({_M, _S}),
    "hours.approve": frozenset({_M}),
    "progress.read": frozenset({_M, _C}),
    "reports.read": frozenset({_M, _C}),
    "reports.write": frozenset({_M}),
    "decisions.answer": frozenset({_C}),
}


def may(role: str, permission: str) -> bool:
    """KeyError for a permission that is not in the table: a typing slip must not open a door."""
    return role in MAY[permission]
