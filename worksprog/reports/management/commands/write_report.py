"""Write a club's report as a PDF file, without a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from worksprog.clubs.models import Club
from worksprog.reports.models import Report
from worksprog.reports.rendering import ReportError, render_pdf
from worksprog.reports.services import figures_of, new_report
from worksprog.works.queries import live_programme


class Command(BaseCommand):
    help = (
        "Write a report as PDF: the issued one of a number, else the newest draft, else a working copy "
        "to today."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--club", required=True, help="the club's short name in its address")
        parser.add_argument("--out", required=True, type=Path, help="the file to write")
        parser.add_argument("--paper", choices=Report.Paper.values, help="A4 or Letter")
        parser.add_argument("--number", type=int, help="an issued report's number")

    def handle(self, *args: Any, **options: Any) -> None:
        club = Club.objects.filter(slug=options["club"]).first()
        if club is None:
            raise CommandError(f"There is no club “{options['club']}”.")
        out: Path = options["out"]
        if not out.parent.is_dir():
            raise CommandError(f"There is no folder {out.parent} to write into.")
        report = self._report(club, options["number"])
        try:
            pdf = render_pdf(figures_of(report), paper=options["paper"])
            out.write_bytes(pdf)
        except (ReportError, OSError) as error:
            raise CommandError(f"The report was not written: {error}") from error
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        self.stdout.write(f"{report} written to {out}, {len(pdf) / 1000:,.0f} kB.")

    def _report(self, club: Club, number: int | None) -> Report:
        rows = Report.objects.filter(club=club).select_related("club", "programme")
        if number is not None:
            report = rows.filter(number=number).first()
            if report is None:
                raise CommandError(f"{club} has issued no report {number}.")
            return report
        draft = rows.filter(state=Report.State.DRAFT).first()
        if draft is not None:
            return draft
        programme = live_programme(club)
        if programme is None:
            raise CommandError(f"{club} has no programme to report on.")
        return new_report(programme=programme, by=None)
