"""Lock files: every package by version and hash, no address of where it came from."""

from __future__ import annotations

import sys

from worksprog.bootstrap import debian
from worksprog.bootstrap.node import lock_node_packages
from worksprog.bootstrap.places import VAR
from worksprog.bootstrap.python_env import ensure_python
from worksprog.bootstrap.saying import run_step, say

LOCKED = ("requirements", "requirements-test", "requirements-node")
PIP_TOOLS = "pip-tools==7.6.2"


def lock_everything() -> None:
    debian.install([debian.missing_venv()])
    home = VAR / "lock-tool"
    python = home / "bin" / "python"
    if not python.exists():
        say("Fetching the tool that locks …")
        run_step([sys.executable, "-m", "venv", home], what="Making var/lock-tool", log="lock")
        run_step(
            [python, "-m", "pip", "install", "--quiet", PIP_TOOLS],
            what="Fetching the tool that locks",
            log="lock",
        )
    for name in LOCKED:
        say(f"Locking {name}.in …")
        run_step(
            [
                python, "-m", "piptools", "compile", "--upgrade", "--quiet", "--generate-hashes",
                "--allow-unsafe", "--strip-extras", "--no-header", "--no-emit-index-url",
                "--no-emit-find-links", "--no-emit-trusted-host", "--no-emit-options",
                "--output-file", f"{name}.txt", f"{name}.in",
            ],
            what=f"Locking {name}.in",
            log="lock",
        )  # fmt: skip
    ensure_python()
    lock_node_packages()
