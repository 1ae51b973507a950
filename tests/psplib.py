"""Reads the files of PSPLIB (Kolisch and Sprecher 1997): a project with four resources."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from worksprog.calc.solver import Link, Problem, Resource, Task, Way

FOLDER = Path(__file__).resolve().parents[2] / "shared" / "data" / "psplib"
WHERE = "the PSPLIB sample (../shared/data/psplib) is not beside the project"


def best_known() -> dict[str, int]:
    with (FOLDER / "best_known.csv").open() as file:
        return {row["instance"]: int(row["best_known"]) for row in csv.DictReader(file)}


def names(of: str) -> list[str]:
    return sorted(path.name for path in (FOLDER / of).glob("*.sm"))


def _rows(lines: list[str], heading: str, after: int) -> list[list[int]]:
    place = next(n for n, line in enumerate(lines) if line.startswith(heading))
    rows = []
    for line in lines[place + after :]:
        if line.startswith("***"):
            break
        rows.append([int(word) for word in line.split()])
    return rows


def read(path: Path) -> Problem:
    """Its makespan as the goal; as many days as all jobs one after another."""
    lines = path.read_text().splitlines()
    follow = {row[0]: row[3:] for row in _rows(lines, "PRECEDENCE RELATIONS", 2)}
    takes = {row[0]: (row[2], row[3:]) for row in _rows(lines, "REQUESTS/DURATIONS", 3)}
    (there,) = _rows(lines, "RESOURCEAVAILABILITIES", 2)
    days = sum(length for length, _ in takes.values()) + 1
    tasks = tuple(
        Task(
            job,
            f"job {job}",
            (Way("", length, {f"R{n}": amount for n, amount in enumerate(needs, 1) if amount}),),
        )
        for job, (length, needs) in takes.items()
    )
    links = tuple(Link(job, then) for job, thens in follow.items() for then in thens)
    resources = tuple(
        Resource(f"R{n}", f"R{n}", np.full(days, amount, dtype=np.int64))
        for n, amount in enumerate(there, 1)
    )
    return Problem(days, tasks, links, resources, makespan_weight=1.0)
