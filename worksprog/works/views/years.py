"""Costs by financial year, the classes of the estimates, and the programme as a workbook."""

from __future__ import annotations

from calendar import month_name
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from worksprog.calc.build_up import Category as Head
from worksprog.calc.charts_years import YearBar, years_chart
from worksprog.calc.escalation import COMPOUND, STRAIGHT
from worksprog.calc.estimate_classes import CLASSES, ORIGIN, SOURCE
from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.spreadsheets import workbook_answer
from worksprog.works import queries
from worksprog.works.forms.years import AllowancesForm, ClassForm
from worksprog.works.models import Item, Programme
from worksprog.works.queries.years import Year, YearsSheet, cost_of_item, years_sheet
from worksprog.works.services.years import set_allowances, set_estimate_class
from worksprog.works.views.shared import form_page, keep, show, title_block
from worksprog.works.workbook import workbook_sheets

CSV_HEAD = (
    "project", "item", "state", "financial year", "first day", "last day", "years to mid-point", "base",
    "design allowance", "contingency", "escalation", "before tax", "tax", "tax recovered",
    "cost to the club",
)  # fmt: skip


def _name(year: Year) -> str:
    return year.name if year else "not placed yet"


def _bars(sheet: YearsSheet) -> list[YearBar]:
    spent = sheet.spent
    return [
        YearBar(_name(year), parts, float(spent[year]) if year in spent else None)
        for year, parts in sheet.by_year.items()
    ]


def _year_rows(sheet: YearsSheet) -> list[dict[str, Any]]:
    heads = sheet.cost.heads_by_year()
    return [
        {
            "year": year,
            "name": _name(year),
            "parts": parts,
            "spent": sheet.spent.get(year, queries.NOTHING),
            "heads": [
                {
                    "head": head.value,
                    "amount": heads[year][head] if year in heads else queries.NOTHING,
                }
                for head in Head
            ],
            "working": sheet.cost.working(year),
        }
        for year, parts in sheet.by_year.items()
    ]


def _project_rows(sheet: YearsSheet) -> list[dict[str, Any]]:
    cells = sheet.cells_of
    rows = []
    for project, by_year, whole in sheet.by_project():
        own = [row for row in sheet.items if row.project.pk == project.pk]
        rows.append(
            {
                "project": project,
                "costs": [
                    {"name": _name(year), "cost": parts.cost} for year, parts in by_year.items()
                ],
                "whole": whole,
                "cells": [
                    {"item": row.item, "cell": cell, "dates_from": row.dates_from,
                     "name": _name(cell.year)}
                    for row in own
                    for cell in cells.get(row.item.pk, ())
                ],
            }
        )  # fmt: skip
    return rows


def _years_page(request: ClubRequest, programme: Programme | None) -> HttpResponse:
    if programme is None:
        others = list(Programme.objects.filter(club=request.club))
        context = {"others": others, "sheet_name": "Estimates · costs by year"}
        return show(request, "works/no_programme.html", context)
    programme.club = request.club
    sheet = years_sheet(programme)
    total = sheet.total
    rows = _year_rows(sheet)
    return show(
        request,
        "works/years.html",
        {
            "programme": programme,
            "sheet": sheet,
            "total": total,
            "rows": rows,
            "projects": _project_rows(sheet),
            "heads": [head.value for head in Head],
            "head_totals": [
                {
                    "head": head.value,
                    "amount": sum((row["heads"][at]["amount"] for row in rows), queries.NOTHING),
                }
                for at, head in enumerate(Head)
            ],
            "starts_in": month_name[request.club.year_start_month],
            "spent_total": sum(sheet.spent.values(), queries.NOTHING),
            "classes": sheet.by_class(),
            "class_origin": ORIGIN,
            "class_source": SOURCE,
            "charts": {"years": years_chart(_bars(sheet), sign=request.club.currency_sign)},
            "sheet_name": "Estimates · costs by year",
            **title_block(programme),
        },
    )


@require_GET
@club_page("works.read")
def years(request: ClubRequest) -> HttpResponse:
    """The live programme's costs by financial year."""
    return _years_page(request, queries.live_programme(request.club))


@require_GET
@club_page("works.read")
def years_of(request: ClubRequest, uuid: UUID) -> HttpResponse:
    return _years_page(request, get_row(Programme, request.club, uuid))


def _sheet_of(request: ClubRequest, uuid: UUID) -> YearsSheet:
    programme = get_row(Programme, request.club, uuid)
    programme.club = request.club
    return years_sheet(programme)


@require_GET
@club_page("works.read")
def item_years(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """One item's money in each year, line by line."""
    item = get_row(Item.objects.select_related("phase__project__programme"), request.club, uuid)
    programme = item.phase.project.programme
    programme.club = request.club
    cells = years_sheet(programme).cells_of.get(item.pk, [])
    return show(
        request,
        "works/item_years.html",
        {
            "item": item,
            "cells": cells,
            "all_days": sum(cell.stretch.days for cell in cells if cell.stretch),
            "compound": COMPOUND,
            "straight": STRAIGHT,
            "sheet_name": f"Estimates · {item.name}, year by year",
            **title_block(programme),
        },
    )


@require_GET
@club_page("works.read")
def years_csv(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Every item's share of every year, as a file."""
    sheet = _sheet_of(request, uuid)
    cells = sheet.cells_of
    return csv_answer(
        f"{request.club.slug}-costs-by-year",
        CSV_HEAD,
        (
            (
                row.project.code,
                row.item.name,
                "finished" if cell.is_finished else "not finished",
                _name(cell.year),
                cell.stretch.first if cell.stretch else "",
                cell.stretch.last if cell.stretch else "",
                f"{cell.years_to_mid:.4f}" if cell.stretch else "",
                cell.parts.base,
                cell.parts.design_allowance,
                cell.parts.contingency,
                cell.parts.escalation,
                cell.parts.before_tax,
                cell.parts.tax,
                cell.parts.tax_recovered,
                cell.parts.cost,
            )
            for row in sheet.items
            for cell in cells.get(row.item.pk, ())
        ),
    )


@require_GET
@club_page("works.read")
def workbook(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The whole programme as a workbook."""
    sheets = workbook_sheets(_sheet_of(request, uuid))
    return workbook_answer(f"{request.club.slug}-programme", sheets)


@require_http_methods(["GET", "POST"])
@club_page("works.plan")
def allowances(request: ClubRequest) -> HttpResponse:
    """Design allowance and the chance that the contingency is for."""
    rules = queries.rules_of(request.club)
    form = AllowancesForm(
        request.POST or None,
        initial={
            "design_allowance_percent": rules.design_allowance_percent,
            "contingency_percent": round(rules.contingency_chance * 100),
        },
    )
    back = reverse("works:years", args=[request.club.slug])
    if request.method == "POST" and keep(
        form,
        lambda: set_allowances(
            club=request.club,
            design_allowance_percent=form.cleaned_data["design_allowance_percent"],
            contingency_chance=form.cleaned_data["contingency_chance"],
            by=request.user,
        ),
    ):
        return redirect(back)
    return form_page(
        request,
        form=form,
        title="Allowance and contingency",
        button="Keep these",
        back=back,
        lead="Both are laid upon every programme of the club, each as a figure of its own.",
    )


@require_http_methods(["GET", "POST"])
@club_page("works.read", change="works.plan")
def estimate_class(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The class of an item's live estimate: what it rests on, what is usual, what the manager says."""
    item = get_row(
        Item.objects.select_related("phase__project__programme", "club"), request.club, uuid
    )
    row = cost_of_item(item)
    estimate, proposal = row.estimate, row.proposal
    form = None
    if estimate is not None and proposal is not None:
        form = ClassForm(
            request.POST or None,
            initial={"number": estimate.estimate_class or ""},
            proposed=proposal.number,
        )
    if (
        request.method == "POST"
        and form is not None
        and estimate is not None
        and keep(
            form,
            lambda: set_estimate_class(
                estimate=estimate, number=form.cleaned_data["number"], by=request.user
            ),
        )
    ):
        messages.success(request, "The class is kept.", extra_tags="good")
        return redirect("works:estimate-class", request.club.slug, uuid)
    number = row.number_of_class
    return show(
        request,
        "works/estimate_class.html",
        {
            "item": item,
            "estimate": estimate,
            "proposal": proposal,
            "form": form,
            "number": number,
            "one": CLASSES[number] if number else None,
            "usual_range": CLASSES[number].typical_range(estimate.money_likely)
            if number and estimate
            else None,
            "classes": CLASSES.values(),
            "class_origin": ORIGIN,
            "class_source": SOURCE,
            "sheet_name": f"Estimates · class of {item.name}",
            **title_block(item.phase.project.programme),
        },
    )
