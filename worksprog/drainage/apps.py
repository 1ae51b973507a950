from __future__ import annotations

from django.apps import AppConfig


class DrainageConfig(AppConfig):
    name = "worksprog.drainage"

    def ready(self) -> None:
        # Models can only be imported once every app is loaded.
        from worksprog.course.brought import register_keeper
        from worksprog.drainage.services.brought_in import DrainKeeper

        register_keeper("drainage", DrainKeeper())
