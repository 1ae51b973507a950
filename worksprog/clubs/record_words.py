"""The record of changes in the words of its readers, not of the tables behind it."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from django.apps import apps
from django.db import models

from worksprog.clubs.models import Change

LONGEST = 160


@lru_cache(maxsize=1)
def _models() -> dict[str, type[models.Model]]:
    return {model._meta.model_name or "": model for model in apps.get_models()}


def words_of_kind(kind: str) -> str:
    """'drain node' for the model's own name."""
    model = _models().get(kind)
    return str(model._meta.verbose_name) if model else kind


def _words_of_field(kind: str, name: str) -> str:
    model = _models().get(kind)
    for field in model._meta.concrete_fields if model else ():
        if name in (field.attname, field.name):
            return str(field.verbose_name)
    return name


def _shown(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    text = str(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"


def moves_of(change: Change) -> list[tuple[str, str, str]]:
    """What, from and to, of a changed row; of many rows changed at once, how many rows."""
    if change.action != "changed":
        return []
    pairs = {name: pair for name, pair in change.details.items() if isinstance(pair, list)}
    if len(pairs) != len(change.details):
        return [(f"{len(change.details)} rows at once", "", "")]
    return [
        (_words_of_field(change.kind, name), _shown(old), _shown(new))
        for name, (old, new) in pairs.items()
    ]
