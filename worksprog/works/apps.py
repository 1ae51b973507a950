from __future__ import annotations

from django.apps import AppConfig


class WorksConfig(AppConfig):
    name = "worksprog.works"
