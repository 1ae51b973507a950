"""Real workers on a real broker, for the tests of long jobs."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import kombu.pools
from django.db import connection

from worksprog.bootstrap.demo import worker_command
from worksprog.bootstrap.places import PYTHON
from worksprog.bootstrap.processes import Child
from worksprog.celery import app
from worksprog.runs.models import Run

# Short enough for a test to wait for, long enough for a busy machine to keep a live worker's beat.
STALE_AFTER_S = 4.0
SWEEP_EVERY_S = 1.0
LONGEST_WAIT_S = 90.0


def database_url() -> str:
    """The address of the tests' own database, as another process has to be told it."""
    facts = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{facts['NAME']}"
    return (
        f"postgres://{facts['USER']}:{facts['PASSWORD']}@{facts['HOST']}:{facts['PORT']}"
        f"/{facts['NAME']}"
    )


def wait_for(what: str, is_so: Callable[[], bool], *, within_s: float = LONGEST_WAIT_S) -> None:
    until = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < until, f"waited {within_s:.0f} s in vain for {what}"
        time.sleep(0.05)


def wait_for_state(run: Run, state: str) -> Run:
    def reached() -> bool:
        run.refresh_from_db()
        return run.state == state

    wait_for(f"{run.kind} to be {state}", reached)
    return run


class Bench:
    """One broker, and as many workers at it as a test starts."""

    def __init__(self, *, broker: str, folder: Path) -> None:
        self.folder = folder
        self.workers: list[Child] = []
        self.env = {
            "DATABASE_URL": database_url(),
            "CELERY_BROKER_URL": broker,
            "VAR_DIR": str(folder / "var"),
            "RUN_STALE_AFTER_S": str(STALE_AFTER_S),
            "RUN_SWEEP_EVERY_S": str(SWEEP_EVERY_S),
            "DEBUG": "True",
        }

    def start_worker(self) -> Child:
        command = [*worker_command(PYTHON, processes=1), "--include", "tests.runs.jobs"]
        log = self.folder / f"worker-{len(self.workers) + 1}.log"
        worker = Child("the worker", command, env=self.env, log=log)
        self.workers.append(worker)
        return worker

    def kill(self, worker: Child) -> None:
        """As a power cut does: the whole process group at once, with no time for a last word."""
        os.killpg(worker.process.pid, signal.SIGKILL)
        worker.process.wait()

    def stop(self) -> None:
        for worker in self.workers:
            with suppress(ProcessLookupError):
                os.killpg(worker.process.pid, signal.SIGKILL)
            worker.process.wait()


@contextmanager
def sending_to(broker: str, folder: Path) -> Iterator[None]:
    """Point this process's own sending at the broker under test."""
    before = (app.conf.broker_url, app.conf.broker_transport_options)
    options: dict[str, str] = {}
    if broker.startswith("filesystem"):
        queue, control = folder / "var/broker/queue", folder / "var/broker/control"
        for path in (queue, control):
            path.mkdir(parents=True, exist_ok=True)
        options = {
            "data_folder_in": str(queue),
            "data_folder_out": str(queue),
            "control_folder": str(control),
        }
    _point(broker, options)
    try:
        yield
    finally:
        _point(*before)


def _point(broker: str, options: object) -> None:
    kombu.pools.reset()
    app.conf.broker_url = broker
    app.conf.broker_transport_options = options
    # Both pools keep the connection that they were first asked for.
    app._pool = None
    app.amqp._producer_pool = None
