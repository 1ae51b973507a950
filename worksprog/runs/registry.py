"""The table of job functions, filled by each app's ``tasks.py``.

A job is a function of one argument, its :class:`~worksprog.runs.progress.Progress`, that returns what
came of it as a JSON object (or nothing). Two keys of that object are shown on the run's page: ``words``
(one sentence) and ``address`` (where the result is seen, a path that begins with ``/c/``)::

    @job("reports.pdf", title="Committee report")
    def make_pdf(progress: Progress) -> dict[str, Any]:
        report = Report.objects.get(uuid=progress.inputs["report"])
        progress(10, "Reading the programme")
        ...
        return {"address": reverse("reports:detail", args=[report.club.slug, report.uuid])}

A job may be run twice, when a worker dies after its work and before its row says so: it writes its
results in one short transaction and finds them again. Raise :class:`JobFailed` with words for the
person; any other exception is kept in the log and told as a fault.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.module_loading import autodiscover_modules

from worksprog.runs.progress import Progress

JobFunction = Callable[[Progress], Mapping[str, Any] | None]


class UnknownJob(LookupError):
    """No app registers a job of this kind."""


class JobFailed(Exception):
    """The job cannot be done; the message tells the person why, and what would help."""


@dataclass(frozen=True)
class Job:
    kind: str
    title: str
    function: JobFunction
    stop_words: str = "Cancel this job"


_JOBS: dict[str, Job] = {}


def job(
    kind: str, *, title: str = "", stop_words: str = Job.stop_words
) -> Callable[[JobFunction], JobFunction]:
    """Register a function as the job of that kind; untitled, it goes by its docstring's first line.

    ``stop_words`` stand on the button that stops it: a job that catches ``Cancelled`` may keep what
    it has.
    """

    def register(function: JobFunction) -> JobFunction:
        known = _JOBS.get(kind)
        if known is not None and known.function.__qualname__ != function.__qualname__:
            raise ValueError(f"Two functions claim the job {kind!r}.")
        told = (function.__doc__ or kind).strip().splitlines()[0].rstrip(".")
        _JOBS[kind] = Job(kind, title or told, function, stop_words)
        return function

    return register


def get_job(kind: str) -> Job:
    """The job of that kind; UnknownJob when no app has one."""
    if kind not in _JOBS:
        autodiscover_modules("tasks")
    try:
        return _JOBS[kind]
    except KeyError:
        raise UnknownJob(f"No app registers a job {kind!r}.") from None
