"""Private PostgreSQL and Redis servers in a temporary folder, for as long as a block runs."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from worksprog.bootstrap.debian import postgresql_bin
from worksprog.bootstrap.saying import Stopped

LONGEST_START_S = 30.0


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


@contextmanager
def temporary_folder(prefix: str = "worksprog-") -> Iterator[Path]:
    folder = Path(tempfile.mkdtemp(prefix=prefix))
    # PostgreSQL refuses root; its own user has to be able to walk in.
    folder.chmod(0o711)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def redis_server(folder: Path) -> Iterator[str]:
    """A Redis that keeps nothing; yields its URL."""
    program = shutil.which("redis-server")
    if program is None:
        raise Stopped("redis-server is not installed; “make test” installs it.")
    home = folder / "redis"
    home.mkdir()
    port = free_port()
    command = [
        program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no",
        "--dir", str(home),
    ]  # fmt: skip
    with _serving(command, home / "log", lambda: answers(port), name="Redis"):
        yield f"redis://127.0.0.1:{port}/0"


@contextmanager
def postgresql_server(folder: Path) -> Iterator[str]:
    """A PostgreSQL with one empty database; yields its URL. Started as an unprivileged user."""
    programs = postgresql_bin()
    if programs is None:
        raise Stopped("PostgreSQL's server is not installed; “make test” installs it.")
    home = folder / "postgresql"
    home.mkdir()
    run_as: dict[str, Any] = {}
    if os.geteuid() == 0:
        account = _unprivileged()
        os.chown(home, account.pw_uid, account.pw_gid)
        run_as = {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}
    data = home / "data"
    made = subprocess.run(
        [
            programs / "initdb", "-D", data, "-U", "worksprog", "--auth=trust", "--no-sync",
            "--encoding=UTF8", "--locale=C.UTF-8",
        ],
        cwd=home, capture_output=True, text=True, check=False, **run_as,
    )  # fmt: skip
    if made.returncode:
        raise Stopped(f"PostgreSQL's data folder could not be made: {made.stderr.strip()}")
    port = free_port()
    # The data is thrown away, so nothing waits for the disk.
    fast = ["fsync=off", "full_page_writes=off", "synchronous_commit=off", "max_connections=60"]
    command = [
        str(programs / "postgres"), "-D", str(data), "-p", str(port), "-h", "127.0.0.1",
        "-k", str(home), *(word for setting in fast for word in ("-c", setting)),
    ]  # fmt: skip

    def is_ready() -> bool:
        asked = [str(programs / "pg_isready"), "-q", "-h", "127.0.0.1", "-p", str(port)]
        return subprocess.run(asked, cwd=home, check=False).returncode == 0

    # SIGINT is its fast stop: it does not wait for clients that are still connected.
    with _serving(
        command, home / "log", is_ready, name="PostgreSQL", stop_by=signal.SIGINT, **run_as
    ):
        subprocess.run(
            [
                programs / "createdb", "-h", "127.0.0.1", "-p", str(port), "-U", "worksprog",
                "worksprog",
            ],
            cwd=home, check=True,
        )  # fmt: skip
        yield f"postgres://worksprog@127.0.0.1:{port}/worksprog"


def _unprivileged() -> pwd.struct_passwd:
    with suppress(KeyError):
        return pwd.getpwnam("postgres")
    return pwd.getpwnam("nobody")


@contextmanager
def _serving(
    command: Sequence[str],
    log: Path,
    is_ready: Callable[[], bool],
    *,
    name: str,
    stop_by: signal.Signals = signal.SIGTERM,
    **popen: Any,
) -> Iterator[None]:
    with log.open("wb") as out:
        process = subprocess.Popen(
            command,
            cwd=log.parent,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            **popen,
        )
    try:
        until = time.monotonic() + LONGEST_START_S
        while not is_ready():
            if process.poll() is not None or time.monotonic() > until:
                said = log.read_text(errors="replace").strip().splitlines()
                raise Stopped(f"{name} did not start: {' / '.join(said[-3:])}")
            time.sleep(0.05)
        yield
    finally:
        process.send_signal(stop_by)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
