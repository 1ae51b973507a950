"""The two messages a worker gets."""

from __future__ import annotations

import uuid

from worksprog.celery import app
from worksprog.runs import services
from worksprog.runs.sweeping import SWEEP


@app.task(name="runs.perform")  # type: ignore[untyped-decorator]
def perform(run_uuid: str) -> None:
    services.perform_run(uuid.UUID(run_uuid))


@app.task(name=SWEEP)  # type: ignore[untyped-decorator]
def sweep() -> None:
    services.sweep_runs()
