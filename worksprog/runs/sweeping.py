"""The worker's own clock: it asks for a sweep when it starts and every minute after."""

from __future__ import annotations

import logging
from typing import Any

from celery import bootsteps
from django.conf import settings
from kombu.exceptions import OperationalError

log = logging.getLogger(__name__)
SWEEP = "runs.sweep"


class SweepStep(bootsteps.StartStopStep):  # type: ignore[misc]
    """Send the sweep to the worker's own queue, so that the main process never opens the database.

    A worker all of whose processes are busy cannot take up a dead worker's run either, so nothing is
    lost by the sweep waiting its turn; each request for one expires before the next is sent.
    """

    requires = {"celery.worker.components:Timer"}

    def __init__(self, parent: Any, **options: Any) -> None:
        super().__init__(parent, **options)
        self.entry: Any = None

    def start(self, parent: Any) -> None:
        every_s = settings.RUN_SWEEP_EVERY_S
        self.entry = parent.timer.call_repeatedly(every_s, self.ask, (parent.app, every_s))
        self.ask(parent.app, every_s)

    def stop(self, parent: Any) -> None:
        if self.entry is not None:
            self.entry.cancel()

    @staticmethod
    def ask(app: Any, every_s: float) -> None:
        try:
            app.send_task(SWEEP, expires=every_s, retry=False)
        except (OperationalError, OSError) as error:
            log.warning("The sweep could not be asked for, and will be again: %s", error)
