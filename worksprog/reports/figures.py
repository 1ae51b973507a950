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


def settled(figures: Mapping[str, Any]) -> dict[str, Any]:
    """The figures as any database hands them back: JSON's own types, floats to a millionth."""
    plain: dict[str, Any] = _settled(json.loads(canonical(figures)))
    return plain


def _settled(value: Any) -> Any:
    match value:
        case float():
            return round(value, 6) + 0.0  # never minus nought, which not every database keeps
        case list():
            return [_settled(part) for part in value]
        case dict():
            return {key: _settled(part) for key, part in value.items()}
    return value


def fingerprint_of(figures: Mapping[str, Any]) -> str:
    """SHA-256 of the figures, as hexadecimal digits."""
    return hashlib.sha256(canonical(figures)).hexdigest()
