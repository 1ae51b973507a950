"""Child processes that never outlive the command that started them."""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from worksprog.bootstrap.places import ROOT

_PR_SET_PDEATHSIG = 1
_LIBC = ctypes.CDLL(None) if sys.platform == "linux" else None


def _end_with_parent() -> None:
    """Linux tells the child when its parent is gone, even by SIGKILL."""
    if _LIBC is not None:
        _LIBC.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


class Child:
    """One long-lived process with its log, in a process group of its own."""

    def __init__(
        self, name: str, command: Sequence[str | Path], *, env: Mapping[str, str], log: Path
    ) -> None:
        self.name, self.log = name, log
        log.parent.mkdir(parents=True, exist_ok=True)
        with log.open("wb") as out:
            self.process = subprocess.Popen(
                [str(part) for part in command],
                cwd=ROOT,
                env={**os.environ, **env},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
                # Ctrl-C reaches the parent alone, which then stops its children in order.
                start_new_session=True,
                preexec_fn=_end_with_parent,
            )

    @property
    def has_ended(self) -> bool:
        return self.process.poll() is not None

    def ask_to_stop(self) -> None:
        if not self.has_ended:
            self.process.terminate()

    def make_stop(self, *, within_s: float) -> None:
        """Wait for the end; then end what is left of its group."""
        with suppress(subprocess.TimeoutExpired):
            self.process.wait(within_s)
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def last_words(self, lines: int = 8) -> str:
        text = self.log.read_text(encoding="utf-8", errors="replace").strip()
        return "\n".join(f"  {line}" for line in text.splitlines()[-lines:])
