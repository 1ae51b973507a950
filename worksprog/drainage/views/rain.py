"""Pages of rain: tables, gauge records and their fits, several days, what may be let out."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.charts_rain import fit_chart
from worksprog.calc.rainfall import (
    DepthTable,
    Refused,
    duration_words,
    read_depths,
    table_doubts,
    table_faults,
    text_of,
)
from worksprog.calc.rainfall.extremes import confidence_band, plotting_positions
from worksprog.calc.rainfall.gauge import GaugeRead, NoYear, read_gauge
from worksprog.calc.working import Working
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.drainage.forms.rain import FitForm, GaugeForm, TableForm, TextOrFileForm
from worksprog.drainage.models import GaugeRecord, RainTable
from worksprog.drainage.queries import live_storm
from worksprog.drainage.queries.rain import FITTED_PERIODS, FittedTable, fit_record, storm_working
from worksprog.drainage.services.rain import (
    forget_gauge,
    forget_table,
    keep_fitted,
    keep_gauge,
    keep_table,
)

REFUSALS_SHOWN = 40
CURVE_POINTS = 40


def shown(working: Working) -> dict[str, Any]:
    return {"title": working.title, "rows": working.as_rows(), "notes": working.notes}


@require_GET
@club_page("drainage.read")
def rain(request: ClubRequest) -> HttpResponse:
    """The storm that is checked for, the club's tables and its gauges' records."""
    storm = live_storm(request.club)
    working, fault = None, ""
    try:
        working = storm_working(storm)
    except ValueError as error:
        fault = str(error)
    tables = [
        {"row": row, "span": _span(row), "used": row.used}
        for row in RainTable.objects.filter(club=request.club).annotate(used=Count("storms"))
    ]
    gauges = [
        {
            "row": row,
            "years": len({year for year, _, _ in row.maxima}),
            "durations": len({minutes for _, minutes, _ in row.maxima}),
        }
        for row in GaugeRecord.objects.filter(club=request.club).defer("daily")
    ]
    return render(
        request,
        "drainage/rain.html",
        {
            "sheet_name": "Drainage · rain",
            "storm": storm,
            "working": None if working is None else shown(working),
            "fault": fault,
            "tables": tables,
            "gauges": gauges,
            "may_design": request.may("drainage.design"),
        },
    )


def _span(row: RainTable) -> str:
    years = sorted({one[0] for one in row.depths})
    minutes = sorted({one[1] for one in row.depths})
    return (
        f"1 in {years[0]:g} to 1 in {years[-1]:g} years, "
        f"{duration_words(minutes[0])} to {duration_words(minutes[-1])}"
    )


# ---- tables ------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@club_page("drainage.design")
def new_table(request: ClubRequest) -> HttpResponse:
    return _table_page(request, None)


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def table(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _table_page(request, get_row(RainTable.objects.all(), request.club, uuid))


def _table_page(request: ClubRequest, row: RainTable | None) -> HttpResponse:
    """Read, shown, and only then kept; what is wrong is told cell by cell."""
    posted = request.method == "POST"
    initial = {}
    if row is not None:
        text = text_of(DepthTable.of(row.depths))
        initial = {"name": row.name, "source": row.source, "text": text}
    form = TableForm(
        request.POST if posted else None, request.FILES if posted else None, initial=initial
    )
    read: DepthTable | None = None
    refused: tuple[Refused, ...] = ()
    faults: list[str] = []
    if posted and form.is_valid() and (brought := _brought(form)) is not None:
        depths, refused = read_depths(brought)
        faults = table_faults(depths) if depths else []
        if not refused and not faults:
            read = DepthTable(depths)
            if request.POST.get("keep") == "yes":
                kept = _kept_table(request, form, row, read)
                if kept is not None:
                    messages.success(request, f"{kept.name} is kept.", extra_tags="good")
                    return redirect("drainage:rain-table", request.club.slug, kept.uuid)
    there = read or (DepthTable.of(row.depths) if row is not None and not posted else None)
    wrong = bool(form.errors or refused or faults)
    return render(
        request,
        "drainage/rain_table.html",
        {
            "sheet_name": f"Rain · {row.name if row else 'a new table'}",
            "row": row,
            "form": form,
            "read": read,
            "refused": refused[:REFUSALS_SHOWN],
            "faults": faults[:REFUSALS_SHOWN],
            "more": max(0, len(refused) + len(faults) - REFUSALS_SHOWN),
            "grid": None if there is None else _grid(there),
            "doubts": () if there is None else table_doubts(there),
            "may_design": request.may("drainage.design"),
        },
        status=422 if wrong else 200,
    )


def _brought(form: TextOrFileForm) -> str | None:
    """The text that was brought, back in its field; None where there is none to be read."""
    try:
        text = form.brought(form.cleaned_data["text"])
    except ValidationError as error:
        form.add_error("upload", error)
        return None
    form.with_text(text)
    if not text.strip():
        form.add_error("text", "Paste the figures here, or choose a file.")
        return None
    return text


def _kept_table(
    request: ClubRequest, form: TableForm, row: RainTable | None, read: DepthTable
) -> RainTable | None:
    given = form.cleaned_data
    try:
        return keep_table(
            club=request.club,
            by=request.user,
            name=given["name"],
            source=given["source"],
            depths=read.depths,
            origin=RainTable.Origin.FILE if given["upload"] else RainTable.Origin.ENTERED,
            row=row,
        )
    except ValidationError as error:
        form.add_error("text", " ".join(error.messages))
        return None


def _grid(there: DepthTable) -> dict[str, Any]:
    periods = there.return_periods
    rows = []
    for minutes in there.durations_min:
        cells = []
        for years in periods:
            depth = there.depth_mm(years, minutes)
            rate = None if depth is None else depth / minutes * 60
            cells.append({"mm": depth, "mm_h": rate, "years": f"1 in {years:g}"})
        rows.append({"duration": duration_words(minutes), "cells": cells})
    return {"periods": [f"1 in {years:g}" for years in periods], "rows": rows}


@require_POST
@club_page("drainage.design")
def table_forget(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(RainTable.objects.all(), request.club, uuid)
    name = row.name
    try:
        forget_table(row=row, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages), extra_tags="warn")
        return redirect("drainage:rain-table", request.club.slug, uuid)
    messages.success(request, f"“{name}” is taken away.", extra_tags="good")
    return redirect("drainage:rain", request.club.slug)


# ---- gauge records -----------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@club_page("drainage.design")
def new_gauge(request: ClubRequest) -> HttpResponse:
    posted = request.method == "POST"
    form = GaugeForm(request.POST if posted else None, request.FILES if posted else None)
    read: GaugeRead | None = None
    unusable: NoYear | None = None
    if posted and form.is_valid() and (text := _brought(form)) is not None:
        given = form.cleaned_data
        try:
            read = read_gauge(text, year_begins=given["year_begins"])
            if request.POST.get("keep") == "yes":
                record = keep_gauge(
                    club=request.club,
                    by=request.user,
                    name=given["name"],
                    source=given["source"],
                    read=read,
                    year_begins=given["year_begins"],
                )
                messages.success(request, f"{record.name} is kept.", extra_tags="good")
                return redirect("drainage:rain-gauge", request.club.slug, record.uuid)
        except ValidationError as error:
            form.add_error(None, error)
        except ValueError as error:
            form.add_error("text", str(error))
            unusable = error if isinstance(error, NoYear) else None
    told = read or unusable
    return render(
        request,
        "drainage/rain_gauge_new.html",
        {
            "sheet_name": "Rain · a gauge's record",
            "form": form,
            "read": read,
            "unusable": unusable,
            "refused": told.refused[:REFUSALS_SHOWN] if told else (),
            "more": max(0, len(told.refused) - REFUSALS_SHOWN) if told else 0,
            "maxima": _maxima_grid(
                [(one.year, one.duration_min, one.depth_mm) for one in read.rows]
            )
            if read
            else None,
        },
        status=422 if form.errors else 200,
    )


def _maxima_grid(rows: list[tuple[int, int, float]]) -> dict[str, Any]:
    durations = sorted({int(minutes) for _, minutes, _ in rows})
    there = {(int(year), int(minutes)): depth for year, minutes, depth in rows}
    years = sorted({year for year, _ in there})
    return {
        "durations": [duration_words(minutes) for minutes in durations],
        "rows": [
            {
                "year": year,
                "cells": [
                    {"duration": duration_words(minutes), "mm": there.get((year, minutes))}
                    for minutes in durations
                ],
            }
            for year in years
        ],
    }


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def gauge(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """A record with the law fitted to it; a POST keeps the law's depths as a table."""
    record = get_row(GaugeRecord.objects.defer("daily"), request.club, uuid)
    durations = sorted({int(minutes) for _, minutes, _ in record.maxima})
    choices = [(minutes, duration_words(minutes)) for minutes in durations]
    given = request.POST if request.method == "POST" else request.GET
    law = "gev" if given.get("law") == "gev" else "gumbel"
    fitted = fit_record(record, law)  # type: ignore[arg-type]
    fault = ""
    if request.method == "POST":
        try:
            kept = keep_fitted(
                club=request.club,
                by=request.user,
                name=f"{record.name}, {'GEV' if law == 'gev' else 'Gumbel'}"[:80],
                record=record,
                fitted=fitted,
            )
        except ValidationError as error:
            fault = " ".join(error.messages)
        else:
            messages.success(request, f"{kept.name} is kept as a table.", extra_tags="good")
            return redirect("drainage:rain-table", request.club.slug, kept.uuid)
    asked = given.get("duration", "")
    chosen = int(asked) if asked.isdigit() and int(asked) in durations else durations[0]
    form = FitForm({"law": law, "duration": chosen}, durations=choices)
    context = {
        "sheet_name": f"Rain · {record.name}",
        "record": record,
        "form": form,
        "law": law,
        "chosen": duration_words(chosen),
        "chosen_min": chosen,
        "fault": fault,
        "fitted": fitted,
        "maxima": _maxima_grid(record.maxima),
        "may_design": request.may("drainage.design"),
        **_fit_shown(fitted, chosen),
    }
    return render(request, "drainage/rain_gauge.html", context, status=422 if fault else 200)


def _fit_shown(fitted: FittedTable, chosen: int) -> dict[str, Any]:
    found = next((one for one in fitted.durations if one.duration_min == chosen), None)
    if found is None:
        return {"charts": None, "depths": [], "workings": []}
    last = FITTED_PERIODS[-1]
    curve = [1.05 * (last / 1.05) ** (step / CURVE_POINTS) for step in range(CURVE_POINTS + 1)]
    chart = fit_chart(
        plotting_positions(found.values_mm),
        confidence_band(found.fit, curve),
        title=f"The most of each year in {duration_words(chosen)}, and the law fitted to it",
    )
    band = confidence_band(found.fit, FITTED_PERIODS)
    depths = [
        {"years": f"1 in {years:g}", "mm": mm, "low": low, "high": high,
         "kept": years in fitted.periods}
        for years, mm, low, high in zip(
            band.return_years, band.depth_mm, band.low_mm, band.high_mm, strict=True
        )
    ]  # fmt: skip
    return {"charts": {"fit": chart}, "depths": depths, "workings": [shown(found.working(10.0))]}


@require_POST
@club_page("drainage.design")
def gauge_forget(request: ClubRequest, uuid: UUID) -> HttpResponse:
    record = get_row(GaugeRecord.objects.defer("daily"), request.club, uuid)
    name = record.name
    forget_gauge(record=record, by=request.user)
    messages.success(request, f"“{name}” is taken away.", extra_tags="good")
    return redirect("drainage:rain", request.club.slug)
