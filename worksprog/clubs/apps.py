from __future__ import annotations

from django.apps import AppConfig


class ClubsConfig(AppConfig):
    name = "worksprog.clubs"
