"""The virtual environment and what the lock files put into it."""

from __future__ import annotations

import shutil
import subprocess
import sys

from worksprog.bootstrap import debian
from worksprog.bootstrap.places import PYTHON, ROOT, VENV, digest_of, is_stamped
from worksprog.bootstrap.saying import DISK_FULL, Stopped, run_step, say

ROOM_FOR_SET_UP_MB = 2500


def ensure_python(*, for_tests: bool = False) -> None:
    """A virtual environment with exactly what the lock file names, made or mended as needed."""
    lock = ROOT / ("requirements-test.txt" if for_tests else "requirements.txt")
    # The tests' lock holds everything the application's holds, so either stamp serves the demo.
    stamps = {name: VENV / f".stamp-{name}" for name in ("requirements", "requirements-test")}
    mine = stamps[lock.stem]
    digest = digest_of(lock, also=f"{sys.version_info[:2]}")
    if _is_whole() and is_stamped(mine, digest):
        return
    if _is_whole() and not for_tests:
        wider = digest_of(ROOT / "requirements-test.txt", also=f"{sys.version_info[:2]}")
        if is_stamped(stamps["requirements-test"], wider):
            return
    free_mb = shutil.disk_usage(ROOT).free / 1e6
    if free_mb < ROOM_FOR_SET_UP_MB and not _is_whole():
        raise Stopped(
            f"{DISK_FULL} The first set-up needs {ROOM_FOR_SET_UP_MB / 1000:.1f} GB at {ROOT}; "
            f"{free_mb / 1000:.1f} GB are free."
        )
    if not _is_whole():
        debian.install([debian.missing_venv(), debian.missing_libraries()])
        say("Making a virtual environment in .venv …")
        shutil.rmtree(VENV, ignore_errors=True)
        run_step([sys.executable, "-m", "venv", VENV], what="Making .venv", log="venv")
    say(f"Installing the Python packages of {lock.name}, once: one to three minutes …")
    for stamp in stamps.values():
        stamp.unlink(missing_ok=True)
    run_step(
        [PYTHON, "-m", "pip", "install", "--require-hashes", "--no-deps", "-r", lock],
        what="Installing the Python packages",
        log="pip",
        env={"PIP_DISABLE_PIP_VERSION_CHECK": "1"},
    )
    mine.write_text(digest, encoding="ascii")


def _is_whole() -> bool:
    """An environment whose Python still starts: a half-made or moved one is made anew."""
    if not PYTHON.exists():
        return False
    asked = "import sys, pip; print(sys.version_info[:2])"
    told = subprocess.run([PYTHON, "-c", asked], capture_output=True, text=True, check=False)
    return told.returncode == 0 and told.stdout.strip() == str(sys.version_info[:2])
