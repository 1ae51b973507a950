"""The price book: prices, output rates and how prices rise, by hand; the book as a file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.unit_costs import labour_working, plant_working
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.spreadsheets import workbook_answer
from worksprog.works import price_file, services
from worksprog.works.book_entries import TREND, entries_of
from worksprog.works.forms import PriceForm, RateForm, TrendForm
from worksprog.works.models import Category, OutputRate, Price, PriceTrend
from worksprog.works.queries.prices import versions_of, waiting_drafts
from worksprog.works.views.shared import form_page, keep, show


@require_GET
@club_page("works.read")
def prices(request: ClubRequest) -> HttpResponse:
    """All of the book, prices under their heads."""
    listed = list(Price.objects.filter(club=request.club).select_related("trend"))
    rates = list(OutputRate.objects.filter(club=request.club))
    groups = [
        {"label": label, "rows": [row for row in listed if row.category == category]}
        for category, label in Category.choices
    ]
    return show(
        request,
        "works/prices.html",
        {
            "groups": [group for group in groups if group["rows"]],
            "rates": rates,
            "trends": list(PriceTrend.objects.filter(club=request.club)),
            "count": len(listed) + len(rates),
            "not_confirmed": sum(not row.is_confirmed for row in listed)
            + sum(not row.is_confirmed for row in rates),
            "version": versions_of(request.club).first(),
            "waiting": list(waiting_drafts(request.club)) if request.may("works.plan") else [],
            "sheet_name": "Estimates · price book",
        },
    )


def book_address(request: ClubRequest) -> str:
    return reverse("works:prices", args=[request.club.slug])


def _entry_page(
    request: ClubRequest,
    row: Price | OutputRate,
    form: PriceForm | RateForm,
    set_entry: Callable[..., object],
    *,
    what: str,
    lead: str,
    **extra: Any,
) -> HttpResponse:
    """A price or an output rate, new or known; what names an entry stays once it is known."""

    title = row.name if row.pk else f"New {what}"

    def change() -> None:
        set_entry(club=request.club, by=request.user, **form.cleaned_data)

    if row.pk:
        form.fields["code"].disabled = True
    if request.method == "POST" and keep(form, change):
        return redirect(book_address(request))
    return form_page(
        request,
        form=form,
        title=title,
        button=f"Keep the {what}",
        back=book_address(request),
        lead=lead,
        in_columns=True,
        **extra,
    )


def _price_page(request: ClubRequest, row: Price) -> HttpResponse:
    unit = f"{request.club.currency}/{row.unit}"
    working = None
    if row.wage is not None and row.on_cost_percent is not None:
        working = labour_working(row.wage, row.on_cost_percent, unit)
    elif row.hire is not None:
        working = plant_working(row.hire, row.fuel or row.hire * 0, unit)
    return _entry_page(
        request,
        row,
        PriceForm(request.POST or None, instance=row, initial={"dated": request.club.today()}),
        services.set_price,
        what="price",
        lead="Before tax. Estimates keep their prices until they are worked out again.",
        working=working,
    )


def _rate_page(request: ClubRequest, row: OutputRate) -> HttpResponse:
    return _entry_page(
        request,
        row,
        RateForm(request.POST or None, instance=row, initial={"dated": request.club.today()}),
        services.set_output_rate,
        what="output rate",
        lead="What one person, or one machine, does in an hour.",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_price(request: ClubRequest) -> HttpResponse:
    return _price_page(request, Price(club=request.club))


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def price(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _price_page(request, get_row(Price, request.club, uuid))


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_rate(request: ClubRequest) -> HttpResponse:
    return _rate_page(request, OutputRate(club=request.club))


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def rate(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _rate_page(request, get_row(OutputRate, request.club, uuid))


def _trend_page(request: ClubRequest, row: PriceTrend) -> HttpResponse:
    title = row.name if row.pk else "New group of prices"
    form = TrendForm(request.POST or None, instance=row, initial={"dated": request.club.today()})
    if request.method == "POST" and keep(
        form, lambda: services.set_trend(trend=form.instance, by=request.user)
    ):
        return redirect(book_address(request))
    return form_page(
        request,
        form=form,
        title=title,
        button="Keep the group",
        back=book_address(request),
        lead="How fast prices of this group are expected to rise, in percent a year.",
        in_columns=True,
    )


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def new_trend(request: ClubRequest) -> HttpResponse:
    return _trend_page(request, PriceTrend(club=request.club))


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def trend(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _trend_page(request, get_row(PriceTrend, request.club, uuid))


@require_POST
@club_page("works.plan")
def start_prices(request: ClubRequest) -> HttpResponse:
    """Put the starting list into the book, beside what is there."""
    count = services.load_default_price_book(club=request.club, by=request.user)
    messages.success(request, f"{count} entries were added, none of them confirmed yet.", "good")
    return redirect(book_address(request))


@require_GET
@club_page("works.read")
def export_prices(request: ClubRequest) -> HttpResponse:
    text = price_file.write_price_csv(_for_a_file(request), request.club.currency)
    return HttpResponse(
        text.encode("utf-8-sig"),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{request.club.slug}-price-book.csv"'
        },
    )


@require_GET
@club_page("works.read")
def export_prices_xlsx(request: ClubRequest) -> HttpResponse:
    sheet = price_file.price_sheet(_for_a_file(request), request.club.currency)
    return workbook_answer(f"{request.club.slug}-price-book", [sheet])


def _for_a_file(request: ClubRequest) -> list[dict[str, str]]:
    return [entry for entry in entries_of(request.club) if entry["what"] != TREND]
