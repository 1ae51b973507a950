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
    with (
        temporary_folder() as folder,
        postgresql_server(folder) as database,
        redis_server(folder) as broker,
    ):
        on_sqlite = {
            **_apart(folder / "sqlite"),
            "DATABASE_URL": f"sqlite:///{folder / 'worksprog.sqlite3'}",
        }
        on_postgresql = {
            **_apart(folder / "postgresql-files"),
            "DATABASE_URL": database,
            "TEST_REDIS_URL": broker,
        }
        once = [f"--ignore=tests/{name}" for name in ONCE_ONLY]
        # One process keeps one core busy, so the second database is tested on the other meanwhile.
        apps = _pytest(["-m", "not jobs", "tests", *once])
        with Beside(apps, on_postgresql, folder / "postgresql-tests.log") as beside:
            say("\n== every test, on SQLite")
            if _run(_pytest(["-m", "not jobs", "--ignore=tests/bench"]), on_sqlite):
                failed.append("tests on SQLite")
            say("\n== the data layer and the pages, on PostgreSQL")
            if beside.finish():
                failed.append("tests on PostgreSQL")
        say("\n== long jobs, with real workers")
        if _run(_pytest(["-m", "jobs"]), on_postgresql):
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


class Beside:
    """A command that runs while another does, and whose words are shown when it has ended."""

    def __init__(self, command: Sequence[str | Path], env: Mapping[str, str], log: Path) -> None:
        self.log = log
        with log.open("wb") as out:
            self.process = subprocess.Popen(
                [str(part) for part in command],
                cwd=ROOT,
                env={**os.environ, **env},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
            )

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            self.process.wait()

    def finish(self) -> int:
        code = self.process.wait()
        say(self.log.read_text(encoding="utf-8", errors="replace").rstrip())
        return code


def _apart(folder: Path) -> dict[str, str]:
    """Files of their own for each run of the tests, never the checkout's; compiled once for all."""
    return {
        "VAR_DIR": str(folder / "var"),
        "MEDIA_ROOT": str(folder / "files"),
        "NUMBA_CACHE_DIR": str(folder.parent / "numba"),
    }


def _pytest(arguments: Sequence[str]) -> list[str | Path]:
    # Each has a cache of its own: two at once would write the same file.
    return [PYTHON, "-m", "pytest", "-q", "-p", "no:cacheprovider", *arguments]


def _run(command: Sequence[str | Path], env: Mapping[str, str]) -> int:
    done = subprocess.run(
        [str(part) for part in command], cwd=ROOT, env={**os.environ, **env}, check=False
    )
    return done.returncode
