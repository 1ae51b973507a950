"""10,000 draws over 300 jobs of 6 lines with shared causes: 1.5 s and 500 MB at most."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from time import perf_counter
from typing import Any

from worksprog.calc.ranges import ThreePoint
from worksprog.calc.simulation import Job, Sway, Uncertain, UncertainLine, simulate

LIMIT_S = 1.5
LIMIT_MB = 500


def many_jobs(count: int = 300, lines: int = 6) -> list[Job]:
    """Every quantity and price uncertain, and the output of every other line."""
    shared = Sway("programme", 0.1)

    def line(job: int, place: int) -> UncertainLine:
        key = f"{job}/{place}"
        ground = Sway(f"ground {job % 10}", 0.2)
        output = Uncertain(
            ThreePoint(3, 5, 6 + 0.01 * job),
            f"output {key}",
            (shared, ground, Sway(f"weather {job % 5}", 0.2), Sway("hands", 0.2)),
        )
        return UncertainLine(
            key,
            key,
            Uncertain(ThreePoint(80, 100, 130 + 0.1 * job), f"measured {key}", (shared, ground)),
            Uncertain(
                ThreePoint(10, 12, 17), f"price {key}", (shared, Sway(f"supplier {place}", 0.3))
            ),
            output if place % 2 == 0 else None,
            own_crew=place == 0,
        )

    return [
        Job(
            f"{job}",
            f"job {job}",
            tuple(line(job, place) for place in range(lines)),
            {
                f"phase {job // 5}": 1.0,
                f"project {job // 30}": 1.0,
                f"year {job % 5}": 0.6,
                f"year {job % 5 + 1}": 0.4,
            },
        )
        for job in range(count)
    ]


def test_a_whole_programme_is_drawn_in_time(benchmark: Any) -> None:
    jobs = many_jobs()
    simulate(jobs[:1], seed=1, draws=100)
    run = benchmark.pedantic(simulate, args=(jobs,), kwargs={"seed": 7}, rounds=3)
    assert len(run.jobs) == 300 and run.draws == 10_000
    assert benchmark.stats.stats.min <= LIMIT_S


def test_a_whole_programme_fits_in_memory() -> None:
    code = (
        "import resource\n"
        "from tests.bench.test_simulation_bench import many_jobs\n"
        "from worksprog.calc.simulation import simulate\n"
        "simulate(many_jobs(), seed=7)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)\n"
    )
    started = perf_counter()
    told = subprocess.run(
        [sys.executable, "-c", code],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    peak_mb = float(told.stdout)
    print(f"\npeak {peak_mb:.0f} MB, {perf_counter() - started:.1f} s with the start of Python")
    assert peak_mb <= LIMIT_MB
