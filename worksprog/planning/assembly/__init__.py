"""A programme's facts as a problem for the solver, with the wishes that a schedule keeps."""

from __future__ import annotations

from worksprog.planning.assembly.tasks import CREW, Assembled, Wish, assemble

__all__ = ["CREW", "Assembled", "Wish", "assemble"]
