"""Jobs that only the tests have; a worker under test is started with ``--include tests.runs.jobs``."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

from worksprog.runs.progress import Progress
from worksprog.runs.registry import JobFailed, job


@job("tests.adds", title="Adding up")
def adds(progress: Progress) -> dict[str, Any]:
    progress(50, "Adding")
    total = sum(progress.inputs["numbers"])
    return {"sum": total, "words": f"The sum is {total}."}


@job("tests.refuses")
def refuses(progress: Progress) -> None:
    """Refusing with words."""
    raise JobFailed("The survey has no levels; import one first.")


@job("tests.faults")
def faults(progress: Progress) -> None:
    """Meeting a fault."""
    raise ZeroDivisionError("not for the person's eyes")


class NoException(BaseException):
    """As some libraries raise, past every ``except Exception``."""


@job("tests.faults_badly")
def faults_badly(progress: Progress) -> None:
    """Meeting a fault that is no Exception."""
    raise NoException


@job("tests.waits_once")
def waits_once(progress: Progress) -> dict[str, Any]:
    """The first attempt goes on until its worker is killed; the next ends at once."""
    attempts = Path(progress.inputs["folder"])
    number = len(list(attempts.iterdir())) + 1
    (attempts / str(number)).touch()
    while number == 1:
        progress(40, "At work until the worker dies")
        time.sleep(0.05)
    return {"attempt": number}


@job("tests.endless")
def endless(progress: Progress) -> None:
    """Going on until cancelled."""
    while True:
        progress(10, "Still at work")
        time.sleep(0.05)


@job("tests.silent")
def silent(progress: Progress) -> dict[str, Any]:
    """One long step that says nothing."""
    progress(5, "Computing")
    time.sleep(progress.inputs["seconds"])
    return {"attempts": 1}


@job("tests.kills")
def kills(progress: Progress) -> None:
    """Killing its own process, as a machine short of memory does."""
    progress(30, "About to be killed")
    os.kill(os.getpid(), signal.SIGKILL)
