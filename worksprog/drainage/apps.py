from __future__ import annotations

from django.apps import AppConfig


class DrainageConfig(AppConfig):
    name = "worksprog.drainage"
