"""The commands behind the Makefile, and what a failure says."""

from __future__ import annotations

import errno
import subprocess
from collections.abc import Callable

from worksprog.bootstrap import debian
from worksprog.bootstrap.demo import run_demo
from worksprog.bootstrap.lock import lock_everything
from worksprog.bootstrap.places import PYTHON, ROOT
from worksprog.bootstrap.python_env import ensure_python
from worksprog.bootstrap.saying import DISK_FULL, Stopped, say, warn
from worksprog.bootstrap.testing import run_lint, run_tests
from worksprog.bootstrap.vendor import ensure_vendor


def demo(_: list[str]) -> int:
    """Set up, build the demo club, start the pages and the worker."""
    return run_demo(fresh=False)


def demo_fresh(_: list[str]) -> int:
    """As demo, with the data thrown away first."""
    return run_demo(fresh=True)


def set_up(_: list[str]) -> int:
    """Everything that demo and test install, and nothing started."""
    debian.install([debian.missing_venv(), debian.missing_libraries()])
    ensure_python()
    ensure_vendor()
    return 0


def vendor(_: list[str]) -> int:
    """Only the fonts, map and chart libraries."""
    ensure_python()
    ensure_vendor()
    return 0


def test(_: list[str]) -> int:
    """Lint, types, floors and every test, on SQLite, PostgreSQL and Redis."""
    return run_tests()


def lint(_: list[str]) -> int:
    """Format, lint, types and floors only."""
    ensure_python(for_tests=True)
    return run_lint()


def checks(extra: list[str]) -> int:
    """The outside checks, and the table of them."""
    return _pytest("tests/outside", "-q", "--show-checks", *extra)


def bench(extra: list[str]) -> int:
    """The measured figures."""
    return _pytest("tests/bench", "--benchmark-only", *extra)


def tour(_: list[str]) -> int:
    """The README's pictures, taken anew from the demonstration club."""
    debian.install([debian.missing_libraries(), debian.missing_test_programs()])
    ensure_python(for_tests=True)
    ensure_vendor()
    command = [str(PYTHON), "-m", "tests.browser.tour"]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


def lock(_: list[str]) -> int:
    """Write every lock file anew."""
    lock_everything()
    return 0


def _pytest(*arguments: str) -> int:
    ensure_python(for_tests=True)
    ensure_vendor()
    command = [str(PYTHON), "-m", "pytest", *arguments]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


COMMANDS: dict[str, Callable[[list[str]], int]] = {
    "demo": demo,
    "demo-fresh": demo_fresh,
    "set-up": set_up,
    "vendor": vendor,
    "test": test,
    "lint": lint,
    "checks": checks,
    "bench": bench,
    "tour": tour,
    "lock": lock,
}


def main(arguments: list[str]) -> int:
    name, extra = (arguments or ["help"])[0], arguments[1:]
    if name not in COMMANDS:
        say("python3 -m worksprog.bootstrap COMMAND, where COMMAND is one of:")
        for known, command in COMMANDS.items():
            say(f"  {known:12} {(command.__doc__ or '').strip()}")
        return 0 if name in {"help", "--help", "-h"} else 2
    try:
        return COMMANDS[name](extra)
    except Stopped as stop:
        warn(f"\n{stop}")
    except KeyboardInterrupt:
        warn("\nStopped. What was done so far is kept.")
        return 130
    except PermissionError as error:
        warn(f"\nNot allowed to write {error.filename}: make the checkout your own ({ROOT}).")
    except OSError as error:
        if error.errno not in {errno.ENOSPC, errno.EDQUOT}:
            raise
        warn(f"\n{DISK_FULL}")
    return 1
