from __future__ import annotations

from django.apps import AppConfig


class HoursConfig(AppConfig):
    name = "worksprog.hours"

    def ready(self) -> None:
        from worksprog.hours.queries import share_done
        from worksprog.planning.remaining import read_share_done_by

        read_share_done_by(share_done)
