"""Lock files: every package by version and hash, no address of where it came from.

The locks are for every Python from 3.11 on: where versions differ, a marker says which is for whom.
"""

from __future__ import annotations

import sys

from worksprog.bootstrap import debian
from worksprog.bootstrap.node import lock_node_packages
from worksprog.bootstrap.places import VAR
from worksprog.bootstrap.python_env import ensure_python
from worksprog.bootstrap.saying import run_step, say

LOCKED = ("requirements", "requirements-test", "requirements-node")
LOCKER = "uv==0.13.9"


def lock_everything() -> None:
    debian.install([debian.missing_venv()])
    home = VAR / "lock-tool"
    python = home / "bin" / "python"
    if not python.exists():
        say("Fetching the tool that locks …")
        run_step([sys.executable, "-m", "venv", home], what="Making var/lock-tool", log="lock")
        run_step(
            [python, "-m", "pip", "install", "--quiet", LOCKER],
            what="Fetching the tool that locks",
            log="lock",
        )
    for name in LOCKED:
        say(f"Locking {name}.in …")
        run_step(
            [
                python, "-m", "uv", "pip", "compile", "--universal", "--python-version", "3.11",
                "--upgrade", "--generate-hashes", "--no-header", "--quiet",
                "--output-file", f"{name}.txt", f"{name}.in",
            ],
            what=f"Locking {name}.in",
            log="lock",
        )  # fmt: skip
    ensure_python()
    lock_node_packages()
