"""``make test``: everything a change has to pass, on both databases and a real broker."""

from __future__ import annotations

import os
import subprocess
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from worksprog.bootstrap import debian
from worksprog.bootstrap.places import PYTHON, ROOT, VENV
from worksprog.bootstrap.python_env import ensure_python
from worksprog.bootstrap.saying import say
from worksprog.bootstrap.services import postgresql_server, redis_server, temporary_folder
from worksprog.bootstrap.vendor import ensure_vendor

# What does not touch a database in a way that could differ between SQLite and PostgreSQL.
ONCE_ONLY = ("calc", "outside", "bench", "browser", "bootstrap", "deployment")


def run_tests() -> int:
    started = time.monotonic()
    debian.install(
        [debian.missing_venv(), debian.missing_libraries(), debian.missing_test_programs()]
    )
    ensure_python(for_tests=True)
    ensure_vendor()
    failed = ["lint, types and floors"] if run_lint() else []
    with temporary_folder() as folder:
        env = {"VAR_DIR": str(folder / "var"), "MEDIA_ROOT": str(folder / "files")}
        sqlite = {**env, "DATABASE_URL": f"sqlite:///{folder / 'worksprog.sqlite3'}"}
        if _pytest("every test, on SQLite", ["-m", "not jobs"], sqlite):
            failed.append("tests on SQLite")
        with postgresql_server(folder) as database, redis_server(folder) as broker:
            postgresql = {**env, "DATABASE_URL": database, "TEST_REDIS_URL": broker}
            once = [f"--ignore=tests/{name}" for name in ONCE_ONLY]
            arguments = ["-m", "not jobs", "tests", *once]
            if _pytest("the data layer and the pages, on PostgreSQL", arguments, postgresql):
                failed.append("tests on PostgreSQL")
            if _pytest("long jobs, with real workers", ["-m", "jobs"], postgresql):
                failed.append("tests of long jobs")
    minutes, seconds = divmod(int(time.monotonic() - started), 60)
    if failed:
        say(f"\nDid not pass: {'; '.join(failed)}. ({minutes} min {seconds} s)")
        return 1
    say(f"\nAll passed. ({minutes} min {seconds} s)")
    return 0


def run_lint() -> int:
    """Format, lint, types, floors, and that no migration is missing; 1 when one of them fails."""
    programs = VENV / "bin"
    steps: list[list[str | Path]] = [
        [programs / "ruff", "check", "."],
        [programs / "ruff", "format", "--check", "."],
        [programs / "mypy", "worksprog", "tests"],
        [programs / "lint-imports"],
        [PYTHON, "manage.py", "makemigrations", "--check", "--dry-run"],
    ]
    return 1 if [step for step in steps if _run(step, {})] else 0


def _pytest(title: str, arguments: Sequence[str], env: Mapping[str, str]) -> int:
    say(f"\n== {title}")
    return _run([PYTHON, "-m", "pytest", "-q", *arguments], env)


def _run(command: Sequence[str | Path], env: Mapping[str, str]) -> int:
    done = subprocess.run(
        [str(part) for part in command], cwd=ROOT, env={**os.environ, **env}, check=False
    )
    return done.returncode
