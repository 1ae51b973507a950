"""What happens to a run: asked for, claimed, done, swept up, cancelled.

The row is the truth and the message to the worker is only a nudge: every step is one conditional UPDATE,
so a message that comes twice, late or never changes nothing but the moment. Runs are the machine's own
rows, one level below the clubs' door for writes: who asked, who cancelled and when stand on the row itself.
"""

from __future__ import annotations

import logging
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.db.models.functions import Coalesce
from django.utils import timezone
from kombu.exceptions import OperationalError

from worksprog.runs.models import Run, RunState, is_stale
from worksprog.runs.progress import Cancelled, Heartbeat, Progress, Superseded
from worksprog.runs.registry import JobFailed, UnknownJob, get_job

if TYPE_CHECKING:
    from worksprog.clubs.models import Club, User

log = logging.getLogger(__name__)

WORDS_FOR_A_FAULT = (
    "A fault in the programme stopped this job; nothing you had saved is lost. The fault is kept in the "
    "log under this run’s number."
)
WORDS_FOR_DEAD_WORKERS = (
    "The worker stopped in the middle of this job {attempts} times, so it is not tried again. It may need "
    "more memory than the machine has; nothing you had saved is lost."
)


def request_run(*, club: Club | None, kind: str, inputs: Mapping[str, Any], by: User | None) -> Run:
    """Write a run's row and, once that is committed, tell a worker. Raises UnknownJob."""
    get_job(kind)
    run: Run = Run.objects.create(club=club, kind=kind, inputs=dict(inputs), asked_by=by)
    transaction.on_commit(lambda: _send(run.uuid))
    return run


def cancel_run(*, run: Run, by: User | None) -> Run:
    """Cancel a waiting run at once, and ask one at work to stop at its next word; else no change."""
    now = timezone.now()
    with transaction.atomic():
        waiting = Run.objects.filter(pk=run.pk, state=RunState.QUEUED)
        if not waiting.update(
            state=RunState.CANCELLED, cancel_asked=True, cancel_asked_by=by, ended_at=now
        ):
            Run.objects.filter(pk=run.pk, state=RunState.RUNNING, cancel_asked=False).update(
                cancel_asked=True, cancel_asked_by=by
            )
    run.refresh_from_db()
    return run


def perform_run(run_uuid: uuid.UUID) -> None:
    """Do a run, if it is there to be done: a second message for the same run does nothing."""
    claim = uuid.uuid4()
    run = _claim(run_uuid, claim)
    if run is None:
        return
    progress = Progress(run, claim=claim)
    try:
        with Heartbeat(run, claim=claim):
            outcome = get_job(run.kind).function(progress)
        _end(run, claim, state=RunState.DONE, percent=100, outcome=dict(outcome or {}))
    except Cancelled:
        _end(run, claim, state=RunState.CANCELLED)
    except Superseded:
        log.warning("Run %s was handed to another worker while this one was at it.", run.uuid)
    except (JobFailed, UnknownJob) as error:
        _end(run, claim, state=RunState.FAILED, error=str(error))
    except SoftTimeLimitExceeded:
        minutes = settings.CELERY_TASK_SOFT_TIME_LIMIT // 60
        words = f"This job took longer than {minutes} minutes and was stopped; nothing was saved."
        _end(run, claim, state=RunState.FAILED, error=words)
    except (SystemExit, KeyboardInterrupt):
        _hand_back(run, claim)
        raise
    except BaseException:  # some libraries' errors are no Exception, and the row must not stay open
        log.exception("Run %s (%s) met a fault", run.uuid, run.kind)
        _end(run, claim, state=RunState.FAILED, error=WORDS_FOR_A_FAULT)


@dataclass(frozen=True)
class Swept:
    """How many runs a sweep touched, by what it did to them."""

    requeued: int
    failed: int
    cancelled: int
    sent_again: int


def sweep_runs() -> Swept:
    """Take up what dead workers left: queue it again, or end it after its last attempt."""
    now = timezone.now()
    stale = Run.objects.stale(now=now)
    cancelled = stale.filter(cancel_asked=True).update(
        state=RunState.CANCELLED, ended_at=now, claim=None
    )
    failed = 0
    for run in stale.filter(attempts__gte=settings.RUN_ATTEMPTS):
        failed += Run.objects.filter(pk=run.pk, claim=run.claim, state=RunState.RUNNING).update(
            state=RunState.FAILED,
            ended_at=now,
            claim=None,
            error=WORDS_FOR_DEAD_WORKERS.format(attempts=run.attempts),
        )
    requeued = 0
    for run in stale:
        # The claim is part of the condition: a run that a worker took up meanwhile is not stale any more.
        mine = Run.objects.filter(pk=run.pk, claim=run.claim, state=RunState.RUNNING)
        if mine.update(
            state=RunState.QUEUED, claim=None, sent_at=now, words="Waiting to be begun again"
        ):
            requeued += 1
            _send(run.uuid)
    sent_again = 0
    for run in Run.objects.unanswered(now=now):
        if Run.objects.filter(pk=run.pk, sent_at=run.sent_at).update(sent_at=now):
            sent_again += 1
            _send(run.uuid)
    return Swept(requeued=requeued, failed=failed, cancelled=cancelled, sent_again=sent_again)


def _claim(run_uuid: uuid.UUID, claim: uuid.UUID) -> Run | None:
    now = timezone.now()
    # Conditions on the row itself, not through a subquery: two workers that race are told apart by them.
    queued = Q(state=RunState.QUEUED)
    free = Run.objects.filter(queued | is_stale(now=now), uuid=run_uuid, cancel_asked=False)
    taken = free.filter(attempts__lt=settings.RUN_ATTEMPTS).update(
        state=RunState.RUNNING,
        claim=claim,
        attempts=F("attempts") + 1,
        heartbeat_at=now,
        started_at=Coalesce(F("started_at"), now),
        percent=0,
        words="Begun",
    )
    return Run.objects.get(uuid=run_uuid) if taken else None


def _end(run: Run, claim: uuid.UUID, *, state: RunState, **facts: Any) -> None:
    Run.objects.filter(pk=run.pk, claim=claim, state=RunState.RUNNING).update(
        state=state, ended_at=timezone.now(), claim=None, **facts
    )


def _hand_back(run: Run, claim: uuid.UUID) -> None:
    """A worker that is told to stop puts its run back, and the attempt does not count."""
    Run.objects.filter(pk=run.pk, claim=claim, state=RunState.RUNNING).update(
        state=RunState.QUEUED,
        claim=None,
        attempts=F("attempts") - 1,
        words="Waiting to be begun again",
    )


def _send(run_uuid: uuid.UUID) -> None:
    # Imported here because the task itself calls this module.
    from worksprog.runs.tasks import perform

    try:
        perform.apply_async(args=[str(run_uuid)])
    except (OperationalError, OSError) as error:
        log.warning("The broker did not take run %s; the sweep sends it again: %s", run_uuid, error)
