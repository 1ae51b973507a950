"""The figures a report is made from: plain data, one way to write them down, one fingerprint."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

FORM = 1


def canonical(figures: Mapping[str, Any]) -> bytes:
    """One spelling of the figures whatever order a database hands their keys back in.

    Raises ValueError for a value that has no JSON form (NaN, infinity).
    """
    return json.dumps(
        figures, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False
    ).encode("utf-8")


def fingerprint_of(figures: Mapping[str, Any]) -> str:
    """SHA-256 of the figures, as hexadecimal digits."""
    return hashlib.sha256(canonical(figures)).hexdigest()
