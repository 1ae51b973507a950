"""Build the demonstration club, Ashlode Vale."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from worksprog.demo.build import build_demo_club, demo_stands


class Command(BaseCommand):
    help = "Build the demonstration club, once; a club that stands is left as it is."

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.DEBUG:
            raise CommandError(
                "The demonstration club has a password that everyone knows; it is only built with DEBUG on."
            )
        if demo_stands():
            return
        self.stdout.write("Building Ashlode Vale:")
        build_demo_club(lambda words: self.stdout.write(f"  {words}"))
