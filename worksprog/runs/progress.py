"""What a job is given: a way to say how far it is, which is also where it learns to stop."""

from __future__ import annotations

import logging
import threading
import time
import uuid
from types import TracebackType
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connections
from django.utils import timezone

from worksprog.runs.models import Run, RunQuerySet, RunState

log = logging.getLogger(__name__)
# A loop may tell each of its thousand turns; the row is written no oftener than this.
LEAST_BETWEEN_WRITES_S = 0.25


class Cancelled(Exception):
    """Someone asked for the run to stop."""


class Superseded(Exception):
    """This worker was given up for dead and the run was handed to another: leave it alone."""


class Progress:
    """Call it with a percentage and words; it raises Cancelled when the run is to stop.

    Not to be called inside a long transaction: nothing would be seen until that ends, and on SQLite the
    sign of life could not be written either.
    """

    def __init__(self, run: Run, *, claim: uuid.UUID) -> None:
        self.run = run
        self.inputs: dict[str, Any] = run.inputs
        self._claim = claim
        self._written_at = float("-inf")

    def __call__(self, percent: float, words: str = "") -> None:
        moment = time.monotonic()
        if moment - self._written_at < LEAST_BETWEEN_WRITES_S:
            return
        held = self._mine().update(
            percent=max(0, min(100, int(percent))),
            words=words[:200],
            heartbeat_at=timezone.now(),
        )
        if not held:
            raise Superseded
        self._written_at = moment
        self.check()

    def check(self) -> None:
        """Raise Cancelled when the run is to stop, without saying anything new."""
        if self._mine().filter(cancel_asked=True).exists():
            raise Cancelled

    def _mine(self) -> RunQuerySet:
        mine: RunQuerySet = Run.objects.filter(
            pk=self.run.pk, claim=self._claim, state=RunState.RUNNING
        )
        return mine


class Heartbeat:
    """A thread that keeps the sign of life fresh while one long step computes."""

    def __init__(self, run: Run, *, claim: uuid.UUID) -> None:
        self._run, self._claim = run, claim
        self._ended = threading.Event()
        self._thread = threading.Thread(
            target=self._beat, name=f"heartbeat-{run.uuid}", daemon=True
        )

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._ended.set()
        self._thread.join()

    def _beat(self) -> None:
        try:
            while not self._ended.wait(settings.RUN_STALE_AFTER_S / 6):
                try:
                    Run.objects.filter(pk=self._run.pk, claim=self._claim).update(
                        heartbeat_at=timezone.now()
                    )
                except DatabaseError as error:
                    log.warning(
                        "A sign of life of run %s was not written: %s", self._run.uuid, error
                    )
        finally:
            connections.close_all()
