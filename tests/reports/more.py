"""More of everything, to see what grows."""

from __future__ import annotations

from tests.drainage.drawn import draw_pipe
from tests.reports.conftest import Works
from worksprog.course.models import State
from worksprog.planning.services import make_plan
from worksprog.works.models import WorkKind
from worksprog.works.services import build_estimate, create_item, create_phase, create_project


def add_jobs(works: Works, count: int) -> None:
    """Projects with a pipe of their own each, estimated and planned."""
    by, club = works.cast.manager, works.cast.club
    for n in range(count):
        pipe = draw_pipe(
            club, by, f"X{n}", (300 + 40 * n, 100), (300 + 40 * n, 0), state=State.PROPOSED
        )
        project = create_project(programme=works.programme, code=f"X{n}", name=f"Extra {n}", by=by)
        item = create_item(
            phase=create_phase(project=project, name="Pipe", by=by),
            kind=WorkKind.CARRIER_PIPE,
            name=f"Lay X{n}",
            features=[pipe],
            by=by,
        )
        build_estimate(item=item, by=by)
    make_plan(programme=works.programme, by=by, today=works.today)
