"""Start a club with its first course manager."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils.text import slugify

from worksprog.clubs.models import User
from worksprog.clubs.services import make_person, start_club


class Command(BaseCommand):
    help = "Start a club: its name, grid and first course manager, who sets a password by e-mail."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True)
        parser.add_argument("--manager", required=True, help="e-mail address")
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")
        parser.add_argument(
            "--password", default=None, help="left out: the manager sets one by e-mail"
        )
        parser.add_argument("--epsg", type=int, default=27700)
        parser.add_argument("--currency", default="GBP")
        parser.add_argument("--time-zone", default="Europe/London")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with transaction.atomic():
                manager = User.objects.filter(
                    email__iexact=options["manager"]
                ).first() or make_person(
                    email=options["manager"],
                    first_name=options["first_name"],
                    last_name=options["last_name"],
                    password=options["password"],
                )
                club = start_club(
                    name=options["name"],
                    slug=slugify(options["name"]),
                    manager=manager,
                    epsg=options["epsg"],
                    currency=options["currency"],
                    time_zone=options["time_zone"],
                )
        except ValidationError as error:
            raise CommandError("; ".join(error.messages)) from error
        self.stdout.write(f"{club} stands at /c/{club.slug}/ and {manager.email} manages it.")
