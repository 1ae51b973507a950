"""``make demo``: set up, build the demonstration club, serve it until Ctrl-C."""

from __future__ import annotations

import errno
import fcntl
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from worksprog.bootstrap import debian
from worksprog.bootstrap.places import LOGS, PYTHON, ROOT, VAR, digest_of, is_stamped
from worksprog.bootstrap.processes import Child
from worksprog.bootstrap.python_env import ensure_python
from worksprog.bootstrap.saying import Stopped, say, warn, why_it_failed
from worksprog.bootstrap.vendor import ensure_vendor

DATABASE = VAR / "worksprog.sqlite3"
STAMP = VAR / ".prepared"
SIGN_INS = ("manager", "committee", "staff")
LONGEST_START_S = 60.0


def run_demo(*, fresh: bool) -> int:
    port = _wanted_port()
    _check_port(port)
    with _only_one():
        debian.install([debian.missing_venv(), debian.missing_libraries()])
        ensure_python()
        ensure_vendor()
        env = demo_environment()
        if fresh:
            _throw_away()
        _prepare(env)
        return _serve(port, env)


def demo_environment() -> dict[str, str]:
    """The demo's own settings, whatever a deployment's .env beside it says."""
    return {
        "DJANGO_SETTINGS_MODULE": "worksprog.settings",
        "DEBUG": "True",
        "SECRET_KEY": "for-the-demonstration-on-this-machine-only",
        "ALLOWED_HOSTS": "localhost,127.0.0.1",
        "VAR_DIR": str(VAR),
        "MEDIA_ROOT": str(VAR / "files"),
        "DATABASE_URL": f"sqlite:///{DATABASE}",
        "CELERY_BROKER_URL": "filesystem://",
        "PYTHONUNBUFFERED": "1",
    }


def web_command(python: Path, *, port: int) -> list[str | Path]:
    return [
        python, "-m", "gunicorn", "worksprog.wsgi:application", "--bind", f"127.0.0.1:{port}",
        "--workers", "1", "--threads", "8", "--timeout", "120", "--graceful-timeout", "5",
    ]  # fmt: skip


def worker_command(python: Path, *, processes: int = 2) -> list[str | Path]:
    return [
        python, "-m", "celery", "--app", "worksprog.celery", "worker", "--loglevel", "INFO",
        "--concurrency", str(processes), "--without-gossip", "--without-mingle",
    ]  # fmt: skip


def _wanted_port() -> int:
    text = os.environ.get("PORT", "").strip() or "8000"
    if not text.isdecimal() or not 1 <= int(text) <= 65535:
        raise Stopped(f"PORT={text} is not a port; expected a whole number from 1 to 65535.")
    return int(text)


def _check_port(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            if error.errno == errno.EACCES:
                raise Stopped(
                    f"Port {port} needs root; choose one above 1023, for example "
                    "“make demo PORT=8001”."
                ) from error
            raise Stopped(
                f"Port {port} is in use by another program; choose another, for example "
                f"“make demo PORT={port + 1 if port < 65535 else 8001}”."
            ) from error


@contextmanager
def _only_one() -> Iterator[None]:
    """Two demos on one folder would build and throw away each other's data."""
    VAR.mkdir(exist_ok=True)
    with (VAR / ".demo-lock").open("w") as held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Stopped(
                "A demo is running from this folder already; stop it with Ctrl-C there first."
            ) from error
        yield


def _throw_away() -> None:
    say("Throwing the demo's data away …")
    for path in VAR.glob(f"{DATABASE.name}*"):
        path.unlink()
    for folder in ("files", "broker"):
        shutil.rmtree(VAR / folder, ignore_errors=True)
    STAMP.unlink(missing_ok=True)


def _prepare(env: dict[str, str]) -> None:
    """Migrate and build the club, unless this very schema was prepared before."""
    migrations = sorted(ROOT.glob("worksprog/*/migrations/*.py"))
    digest = digest_of(*migrations, ROOT / "requirements.txt")
    if DATABASE.is_file() and is_stamped(STAMP, digest):
        return
    say(
        "Preparing the database and the demonstration club, with a year of hours: about half a minute …"
    )
    LOGS.mkdir(parents=True, exist_ok=True)
    log = LOGS / "prepare.log"
    with log.open("w", encoding="utf-8") as errors:
        done = subprocess.run(
            [PYTHON, "-m", "worksprog.bootstrap.inside", "prepare"],
            cwd=ROOT,
            env={**os.environ, **env},
            stderr=errors,
            check=False,
        )
    if done.returncode:
        raise Stopped(
            why_it_failed(
                log.read_text(encoding="utf-8", errors="replace"),
                what="Preparing the demonstration club",
                log=log,
            )
        )
    STAMP.write_text(digest, encoding="ascii")


def _serve(port: int, env: dict[str, str]) -> int:
    stop = threading.Event()

    def on_signal(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    children: list[Child] = []
    before = {
        number: signal.signal(number, on_signal)
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    }
    try:
        web = web_command(PYTHON, port=port)
        children.append(Child("the pages", web, env=env, log=LOGS / "web.log"))
        worker = worker_command(PYTHON)
        children.append(Child("the worker", worker, env=env, log=LOGS / "worker.log"))
        _wait_for_pages(port, children, stop)
        if not stop.is_set():
            _greet(port)
        while not stop.wait(0.3):
            _stop_if_ended(children)
    finally:
        if children:
            say("\nStopping …")
        for child in children:
            child.ask_to_stop()
        for child in children:
            child.make_stop(within_s=10)
        for number, handler in before.items():
            signal.signal(number, handler)
    return 0


def _wait_for_pages(port: int, children: list[Child], stop: threading.Event) -> None:
    until = time.monotonic() + LONGEST_START_S
    while not stop.wait(0.1):
        _stop_if_ended(children)
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=5):
                return
        except urllib.error.HTTPError as error:
            raise Stopped(
                f"The pages answer, but not in order ({error.code}): {error.read()[:300]!r}. "
                f"Details are in {LOGS.relative_to(ROOT)}/web.log."
            ) from error
        except OSError:
            if time.monotonic() > until:
                raise Stopped(
                    f"The pages did not answer within {LONGEST_START_S:.0f} s:\n"
                    f"{children[0].last_words()}"
                ) from None


def _stop_if_ended(children: list[Child]) -> None:
    for child in children:
        if child.has_ended:
            warn(child.last_words())
            raise Stopped(
                f"{child.name.capitalize()} stopped unexpectedly; its last words are above, all of "
                f"them in {child.log.relative_to(ROOT)}."
            )


def _greet(port: int) -> None:
    say(f"\nAshlode Vale is open at http://127.0.0.1:{port}\n")
    for role in SIGN_INS:
        say(f"  {role:10} {role}@ashlodevale.example   password: ashlode-demo")
    say("\nCtrl-C stops it. “make demo-fresh” starts over.")
