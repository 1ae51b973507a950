"""Where the earth of each winter goes, on a page, as a table, and beside an item's estimate."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from worksprog.calc.earth_balance import Matter
from worksprog.calc.soils import SOILS, bank_for_fill_m3, three_states
from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.works import queries
from worksprog.works.bridge_earth import winter_words
from worksprog.works.cautions_spoil import DEFERS, SPOIL_CAUTIONS
from worksprog.works.drawing_spoil import draw_spoil
from worksprog.works.forms.spoil import SpoilForm
from worksprog.works.models import Item
from worksprog.works.queries.spoil import spoil_sheet
from worksprog.works.queries.spoil_carting import LORRY_T
from worksprog.works.queries.spoil_parts import LEAST_SHOWN_M3, SpoilSheet, SpoilWish
from worksprog.works.views.shared import show, title_block

UNDATED = "undated"


def _asked(request: ClubRequest) -> tuple[SpoilForm, SpoilWish, int | None]:
    """The form as filled in, the wish it makes (the usual one where it cannot be read), the winter."""
    form = SpoilForm(request.GET if "ground" in request.GET else SpoilForm.usual())
    wish = form.wish() if form.is_valid() else SpoilWish()
    told = request.GET.get("winter", "")
    return form, wish, int(told) if told.isdecimal() and len(told) == 4 else None


def _query(form: SpoilForm, **more: Any) -> str:
    """The address's figures, so that another winter is looked at with the same ones."""
    entered = {name: form[name].value() for name in form.fields}
    return urlencode({name: value for name, value in (entered | more).items() if value is not None})


@require_GET
@club_page("works.read")
def spoil(request: ClubRequest) -> HttpResponse:
    """The balance of one winter of the live programme."""
    form, wish, winter = _asked(request)
    programme = queries.live_programme(request.club)
    if programme is None:
        return show(request, "works/spoil.html", {"form": form, "sheet_name": "Earth and spoil"})
    programme.club = request.club
    sheet = spoil_sheet(programme, wish, winter=winter, today=request.club.today())
    return render(
        request,
        "works/spoil.html",
        {
            "form": form,
            "sheet": sheet,
            "words": winter_words(sheet.winter) if sheet.winter is not None else "",
            "winters": [
                {
                    "row": row,
                    "words": winter_words(row.winter) if row.winter is not None else "no date yet",
                    "query": _query(form, winter=row.winter) if row.winter is not None else "",
                    "here": row.winter == sheet.winter,
                }
                for row in sheet.winters
            ],
            "query": _query(form, winter=sheet.winter),
            "figure": draw_spoil(sheet, sheet.features),
            "states": _states(sheet),
            "totals": _totals(sheet),
            "rows": _rows(sheet),
            "lorry_t": LORRY_T,
            "soil": wish.soil,
            "cautions": SPOIL_CAUTIONS,
            "defers": DEFERS,
            "sheet_name": "Earth and spoil",
            **title_block(programme),
        },
        status=200 if form.is_valid() else 422,
    )


def _totals(sheet: SpoilSheet) -> dict[str, Any]:
    """Sums over the winter's open works, of what the tables show."""
    balance = sheet.balance
    loose = sum(one.move.loose_m3.likely for one in sheet.moves)
    return {
        "mean_haul": sum(one.move.haul_m4 for one in sheet.moves) / loose if loose else None,
        "dug": sum(one.bank_m3 for one in balance.cuts),
        "loose": sum(one.loose_m3.likely for one in balance.cuts),
        "fills": sum(one.firm_m3 for one in balance.fills),
        "moved": sum(one.move.bank_m3 for one in sheet.moves),
        "moved_loose": loose,
        "moved_firm": sum(one.move.firm_m3 for one in sheet.moves),
        "firm": sum(one.firm_m3 for one in balance.moves),
        "short": sum(one.firm_m3 for one in balance.brought),
        "brought_t": sum(one.mass_t for one in balance.brought),
        "spread": sum(one.spread_m3 for one in balance.left),
        "loads": sum(one.work.loads for one in sheet.moves),
        "hours": sum(one.work.hours for one in sheet.moves),
        "estimate_h": sum(one.estimate_h for one in sheet.carting),
        "balance_h": sum(one.balance_h for one in sheet.carting),
        "estimate_money": sum((one.estimate_money for one in sheet.carting), queries.NOTHING),
        "balance_money": sum((one.balance_money for one in sheet.carting), queries.NOTHING),
    }


def _rows(sheet: SpoilSheet) -> list[dict[str, Any]]:
    """Each quantity of earth of each work in its three states, and what becomes of it."""
    balance = sheet.balance
    out: dict[str, list[str]] = defaultdict(list)
    for shown in sheet.moves:
        out[shown.move.cut.key].append(f"{shown.letter}: {shown.move.bank_m3:,.1f}")
        out[shown.move.fill.key].append(f"{shown.letter}: {shown.move.firm_m3:,.1f}")
    for move in sheet.within:
        out[move.cut.key].append(f"used in the same work: {move.bank_m3:,.1f}")
        out[move.fill.key].append(f"from the same work: {move.firm_m3:,.1f}")
    for rest in balance.left:
        if rest.spread_m3 >= LEAST_SHOWN_M3:
            out[rest.cut.key].append(f"spread beside it: {rest.spread_m3:,.1f}")
        if rest.away_m3 >= LEAST_SHOWN_M3:
            out[rest.cut.key].append(f"off the course: {rest.away_m3:,.1f}")
    for need in balance.brought:
        if need.firm_m3 >= LEAST_SHOWN_M3:
            out[need.fill.key].append(f"brought in: {need.firm_m3:,.1f}")
    rows = []
    for number, one in enumerate(sheet.items, start=1):
        settled = "finished, its earth is where it is" if one.is_settled else ""
        for cut in one.cuts:
            kind = "topsoil" if cut.matter is Matter.TOPSOIL else cut.soil.name
            rows.append(
                {
                    "number": number,
                    "one": one,
                    "what": f"digs {kind}",
                    "bank": cut.bank_m3,
                    "loose": cut.loose_m3.likely,
                    "firm": cut.firm_m3,
                    "goes": settled or "; ".join(out[cut.key]),
                }
            )
        for fill in one.fills:
            kind = "topsoil" if fill.matter is Matter.TOPSOIL else "fill"
            soil = SOILS["topsoil"] if fill.matter is Matter.TOPSOIL else sheet.wish.soil
            bank = bank_for_fill_m3(firm_m3=fill.firm_m3, soil=soil)
            rows.append(
                {
                    "number": number,
                    "one": one,
                    "what": f"takes {kind}",
                    "bank": bank,
                    "loose": bank * soil.loose_per_bank.likely,
                    "firm": fill.firm_m3,
                    "goes": settled or "; ".join(out[fill.key]),
                }
            )
    return rows


def _states(sheet: SpoilSheet) -> list[Any]:
    """Each cut of the winter in its three states, with the factors."""
    found = []
    for one in sheet.open_items:
        for cut in one.cuts:
            states = three_states(bank_m3=cut.bank_m3, soil=cut.soil)
            found.append(replace(states, title=f"{cut.name}: {states.title}"))
    return found


@require_GET
@club_page("works.read")
def spoil_csv(request: ClubRequest) -> HttpResponse:
    """The winter's moves, what is left and what is brought in, one line each."""
    _, wish, winter = _asked(request)
    programme = queries.live_programme(request.club)
    rows: list[list[object]] = []
    words = "none"
    if programme is not None:
        programme.club = request.club
        sheet = spoil_sheet(programme, wish, winter=winter, today=request.club.today())
        words = str(sheet.winter or UNDATED)
        rows = _csv_rows(sheet)
    header = [
        "what", "letter", "from", "to", "earth", "bank m3", "loose m3", "firm m3", "tonnes",
        "haul m", "loads", "hours", "from date", "to date",
    ]  # fmt: skip
    return csv_answer(f"spoil-{words}", header, rows)


def _csv_rows(sheet: SpoilSheet) -> list[list[object]]:
    def one(value: float | None) -> str:
        return "" if value is None else f"{value:.1f}"

    rows: list[list[object]] = []
    for shown in sheet.moves:
        move = shown.move
        rows.append(
            [
                "moved", shown.letter, move.cut.name, move.fill.name, move.cut.matter.value,
                one(move.bank_m3), one(move.loose_m3.likely), one(move.firm_m3),
                one(move.bank_m3 * move.cut.soil.bank_t_m3.likely), one(move.haul_m),
                shown.work.loads, one(shown.work.hours), move.cut.starts or "",
                move.fill.ends or "",
            ]
        )  # fmt: skip
    for move in sheet.within:
        rows.append(
            [
                "within the work", "", move.cut.name, move.fill.name, move.cut.matter.value,
                one(move.bank_m3), one(move.loose_m3.likely), one(move.firm_m3),
                one(move.bank_m3 * move.cut.soil.bank_t_m3.likely), "", "", "",
                move.cut.starts or "", move.fill.ends or "",
            ]
        )  # fmt: skip
    for rest in sheet.balance.left:
        for what, bank, loose in (
            ("spread beside the work", rest.spread_m3, rest.spread_loose_m3.likely),
            ("off the course", rest.away_m3, rest.away_loose_m3.likely),
        ):
            if bank > 0:
                rows.append(
                    [
                        what, "", rest.cut.name, "", rest.cut.matter.value, one(bank), one(loose),
                        "", one(bank * rest.cut.soil.bank_t_m3.likely), "", "", "",
                        rest.cut.starts or "", rest.cut.ends or "",
                    ]
                )  # fmt: skip
    for need in sheet.balance.brought:
        rows.append(
            [
                "brought in", "", "", need.fill.name, need.fill.matter.value, one(need.bank_m3),
                one(need.loose_m3.likely), one(need.firm_m3), one(need.mass_t), "", "", "",
                need.fill.starts or "", need.fill.ends or "",
            ]
        )  # fmt: skip
    return rows


@require_GET
@club_page("works.read")
def item_spoil(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """A part of the item's page: what the balance of its winter does to its carting."""
    row = get_row(Item.objects.select_related("phase__project__programme"), request.club, uuid)
    programme = row.phase.project.programme
    programme.club = request.club
    sheet = spoil_sheet(programme, SpoilWish(), of_item=row, today=request.club.today())
    found = next((one for one in sheet.carting if one.item.pk == row.pk), None)
    return show(
        request,
        "works/_item_spoil.html",
        {
            "carting": found,
            "words": winter_words(sheet.winter) if sheet.winter is not None else "",
            "winter": sheet.winter,
            "is_here": any(one.item.pk == row.pk for one in sheet.items),
        },
    )
