"""Words to the person at the terminal, and commands whose failures become words."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from worksprog.bootstrap.places import LOGS, ROOT

DISK_FULL = "The disk is full. Free some room and run the same command again; nothing is lost."
_SIGNS_OF_A_FULL_DISK = ("No space left on device", "ENOSPC", "Disk quota exceeded", "disk is full")
_SIGNS_OF_NO_NETWORK = (
    "Temporary failure in name resolution",
    "Temporary failure resolving",
    "Name or service not known",
    "Could not resolve",
    "Network is unreachable",
    "NewConnectionError",
    "ConnectTimeout",
    "Failed to establish a new connection",
    "Max retries exceeded",
    "ENOTFOUND",
    "EAI_AGAIN",
    "ECONNREFUSED",
    "ENETUNREACH",
    "ETIMEDOUT",
    "Unable to connect",
    "Cannot initiate the connection",
)


class Stopped(Exception):
    """The work cannot go on; the message is one whole sentence for the person who started it."""


def say(words: str) -> None:
    print(words, flush=True)


def warn(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def run_step(
    command: Sequence[str | Path],
    *,
    what: str,
    log: str,
    env: Mapping[str, str] | None = None,
    cwd: Path = ROOT,
) -> None:
    """Run one step of the set-up with its output in a log; Stopped, in words, when it fails."""
    LOGS.mkdir(parents=True, exist_ok=True)
    path = LOGS / f"{log}.log"
    with path.open("w", encoding="utf-8", errors="replace") as out:
        done = subprocess.run(
            [str(part) for part in command],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            env={**os.environ, **(env or {})},
            cwd=cwd,
            check=False,
        )
    if done.returncode == 0:
        return
    output = path.read_text(encoding="utf-8", errors="replace")
    raise Stopped(why_it_failed(output, what=what, log=path))


def why_it_failed(output: str, *, what: str, log: Path) -> str:
    """The likeliest cause of a failed step, read from what it printed."""
    shown = log.relative_to(ROOT) if log.is_relative_to(ROOT) else log
    if any(sign in output for sign in _SIGNS_OF_A_FULL_DISK):
        return f"{what} stopped: {DISK_FULL}"
    if any(sign in output for sign in _SIGNS_OF_NO_NETWORK):
        return (
            f"{what} stopped: no answer from the network. Check the connection and run the same "
            f"command again; what was fetched is kept. Details are in {shown}."
        )
    last = "\n".join(f"  {line}" for line in output.strip().splitlines()[-8:])
    return f"{what} stopped. Its last words, all of them in {shown}:\n{last}"
