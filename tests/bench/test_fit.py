"""A thousand jobs fitted into the weeks of five years, with and without the critical path."""

from __future__ import annotations

from typing import Any

from tests.calc.test_fit import large_programme
from worksprog.calc.critical_path import DatedActivity, dated_path
from worksprog.calc.fit import fit


def test_a_thousand_jobs_fitted(benchmark: Any) -> None:
    jobs, links, (calendar, hours, masks) = large_programme()
    fitted = benchmark(
        fit, jobs, links, calendar=calendar, day_hours=hours.left_day_h, open_days=masks
    )
    assert len(fitted.placed) == len(jobs)


def test_the_critical_path_of_a_thousand_jobs(benchmark: Any) -> None:
    jobs, links, (calendar, _, masks) = large_programme()
    everyday = calendar.workdays
    activities = [
        DatedActivity(job.key, 2, everyday & masks[job.kind] if job.kind else everyday)
        for job in jobs
    ]
    path = benchmark(dated_path, activities, links)
    assert len(path.times) == len(jobs)
