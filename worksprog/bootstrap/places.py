"""Where things are in a checkout."""

from __future__ import annotations

import hashlib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"
VAR = ROOT / "var"
LOGS = VAR / "logs"
NODE_MODULES = ROOT / "node_modules"
VENDOR = ROOT / "static" / "vendor"


def digest_of(*paths: Path, also: str = "") -> str:
    """One hash over files and a text: what a stamp keeps to tell whether a step is still done."""
    total = hashlib.sha256(also.encode())
    for path in paths:
        total.update(path.name.encode())
        total.update(path.read_bytes())
    return total.hexdigest()


def is_stamped(stamp: Path, digest: str) -> bool:
    return stamp.is_file() and stamp.read_text(encoding="ascii").strip() == digest
