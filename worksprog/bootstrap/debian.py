"""What Debian and Ubuntu leave out: found missing, named, and installed where that is allowed."""

from __future__ import annotations

import ctypes
import importlib.util
import os
import shutil
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from worksprog.bootstrap.saying import Stopped, run_step, say

# Shared libraries that the installed wheels load from the system, and the package of each.
LIBRARIES = {
    "libgobject-2.0.so.0": "libglib2.0-0",
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libharfbuzz.so.0": "libharfbuzz0b",
    "libharfbuzz-subset.so.0": "libharfbuzz-subset0",
    "libfontconfig.so.1": "libfontconfig1",
    "libexpat.so.1": "libexpat1",
}
# Programs that the tests start, and the package of each.
TEST_PROGRAMS = {
    "redis-server": "redis-server",
    "chromium": "chromium",
    "pdftotext": "poppler-utils",
    "soffice": "libreoffice-calc-nogui",
}


@dataclass(frozen=True)
class Missing:
    """Packages to install and, for the sentence, what they are needed for."""

    packages: tuple[str, ...]
    purpose: str


def missing_venv() -> Missing | None:
    if importlib.util.find_spec("ensurepip") and importlib.util.find_spec("venv"):
        return None
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    return Missing((f"{version}-venv",), "making a virtual environment")


def missing_libraries() -> Missing | None:
    absent = [package for name, package in LIBRARIES.items() if not _loads(name)]
    return Missing(tuple(absent), "drawing the PDF and reading surveys") if absent else None


def missing_test_programs() -> Missing | None:
    absent = [package for name, package in TEST_PROGRAMS.items() if shutil.which(name) is None]
    if postgresql_bin() is None:
        absent.append("postgresql")
    return Missing(tuple(absent), "running the tests") if absent else None


def postgresql_bin() -> Path | None:
    """The folder of PostgreSQL's server programs; Debian keeps them off the PATH."""
    found = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if found:
        return max(found, key=lambda path: float(path.parent.name))
    initdb = shutil.which("initdb")
    return Path(initdb).resolve().parent if initdb else None


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def install(missing: Iterable[Missing | None]) -> None:
    """Install what is missing by apt-get, as root or through sudo; else stop and name it."""
    wanted = [part for part in missing if part is not None]
    if not wanted:
        return
    packages = sorted({package for part in wanted for package in part.packages})
    purpose = " and ".join(part.purpose for part in wanted)
    if shutil.which("apt-get") is None:
        raise Stopped(
            f"Missing for {purpose}, under their Debian names: {' '.join(packages)}. This machine "
            "has no apt-get; install the like with its own package manager and run this again."
        )
    by_root: list[str] = []
    if os.geteuid() != 0:
        if shutil.which("sudo") is None:
            raise Stopped(
                f"Missing for {purpose}: {' '.join(packages)}. Ask someone with root to run "
                f"“apt-get install {' '.join(packages)}”, then run this again."
            )
        by_root = ["sudo", "DEBIAN_FRONTEND=noninteractive"]
    say(f"Installing for {purpose}: {' '.join(packages)} …")
    env = {"DEBIAN_FRONTEND": "noninteractive"}
    run_step([*by_root, "apt-get", "update"], what="apt-get update", log="apt-update", env=env)
    run_step(
        [*by_root, "apt-get", "install", "--yes", "--no-install-recommends", *packages],
        what=f"Installing {' '.join(packages)}",
        log="apt-install",
        env=env,
    )
