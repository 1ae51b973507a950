"""The price book: prices and output rates, by hand and by file."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works import price_file, services
from worksprog.works.forms import PriceFileForm, PriceForm, RateForm
from worksprog.works.models import Category, OutputRate, Price
from worksprog.works.views.shared import form_page, keep, show


@require_GET
@club_page("works.read")
def prices(request: ClubRequest) -> HttpResponse:
    """All of the book, prices under their heads."""
    listed = list(Price.objects.filter(club=request.club))
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
            "count": len(listed) + len(rates),
            "not_confirmed": sum(not row.is_confirmed for row in listed)
            + sum(not row.is_confirmed for row in rates),
            "sheet_name": "Estimates · price book",
        },
    )


def _book(request: ClubRequest) -> str:
    return reverse("works:prices", args=[request.club.slug])


def _entry_page(
    request: ClubRequest,
    row: Price | OutputRate,
    form: PriceForm | RateForm,
    set_entry: Callable[..., object],
    *,
    what: str,
    lead: str,
) -> HttpResponse:
    """A price or an output rate, new or known; what names an entry stays once it is known."""

    title = row.name if row.pk else f"New {what}"

    def change() -> None:
        set_entry(club=request.club, by=request.user, **form.cleaned_data)

    if row.pk:
        form.fields["code"].disabled = True
    if request.method == "POST" and keep(form, change):
        return redirect(_book(request))
    return form_page(
        request,
        form=form,
        title=title,
        button=f"Keep the {what}",
        back=_book(request),
        lead=lead,
        in_columns=True,
    )


def _price_page(request: ClubRequest, row: Price) -> HttpResponse:
    return _entry_page(
        request,
        row,
        PriceForm(request.POST or None, instance=row, initial={"dated": request.club.today()}),
        services.set_price,
        what="price",
        lead="Before tax. Estimates keep their prices until they are worked out again.",
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


@require_POST
@club_page("works.plan")
def start_prices(request: ClubRequest) -> HttpResponse:
    """Put the starting list into the book, beside what is there."""
    count = services.load_default_price_book(club=request.club, by=request.user)
    messages.success(request, f"{count} entries were added, none of them confirmed yet.", "good")
    return redirect(_book(request))


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def import_prices(request: ClubRequest) -> HttpResponse:
    form = PriceFileForm(
        request.POST or None, request.FILES or None, initial={"dated": request.club.today()}
    )
    refusals: tuple[price_file.Refusal, ...] = ()
    if request.method == "POST" and form.is_valid():
        text = price_file.decode(form.cleaned_data["file"].read())
        try:
            result = services.import_price_book(
                club=request.club, text=text, dated=form.cleaned_data["dated"], by=request.user
            )
        except ValidationError as error:
            form.add_error("file", error.messages)
        else:
            refusals = result.refusals
            if not refusals:
                messages.success(
                    request, f"{result.added} entries added, {result.changed} changed.", "good"
                )
                return redirect(_book(request))
            form.add_error(None, f"{len(refusals)} rows were refused, so nothing was taken.")
    return form_page(
        request,
        form=form,
        title="Bring in a price file",
        button="Read the file",
        back=_book(request),
        refusals=refusals,
        columns=price_file.COLUMNS,
    )


@require_GET
@club_page("works.read")
def export_prices(request: ClubRequest) -> HttpResponse:
    text = price_file.write_price_file(
        Price.objects.filter(club=request.club), OutputRate.objects.filter(club=request.club)
    )
    return HttpResponse(
        text.encode("utf-8-sig"),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{request.club.slug}-price-book.csv"'
        },
    )
