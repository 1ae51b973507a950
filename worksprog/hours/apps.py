from __future__ import annotations

from django.apps import AppConfig


class HoursConfig(AppConfig):
    name = "worksprog.hours"
