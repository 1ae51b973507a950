from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.charts_water import apart_by_size, hydrograph_chart, level_chart, rain_chart
from worksprog.calc.routing import Pond as CalcPond
from worksprog.calc.routing import (
    pond_working,
    stages_from_ground,
    stages_from_outline,
)
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import DRAIN_LINES, Feature, Kind, State
from worksprog.course.queries import live_ground
from worksprog.drainage.bridge_water import pond_of
from worksprog.drainage.drawing.pond import draw_pond
from worksprog.drainage.forms.water import (
    OUTLET_ROWS,
    OutletForm,
    PondForm,
    StagesForm,
    ThroughForm,
)
from worksprog.drainage.models import Pond, PondOutlet, Routing
from worksprog.drainage.queries import live_storm
from worksprog.drainage.queries.water import bank_from_ground
from worksprog.drainage.services.water import (
    forget_routing,
    mark_of_pond,
    route_or_request,
    set_pond,
)
from worksprog.runs.models import Run

NEAR_POND_M = 60.0
ROWS_SHOWN = 100


def _drains(request: ClubRequest) -> list[Feature]:
    rows = Feature.objects.filter(club=request.club, kind__in=DRAIN_LINES)
    return list(rows.exclude(state=State.REMOVED).defer("notes").order_by("ref", "pk"))


# ---- ponds -------------------------------------------------------------------------------------


@require_GET
@club_page("drainage.read")
def ponds(request: ClubRequest) -> HttpResponse:
    rows = (
        Feature.objects.filter(club=request.club, kind=Kind.POND)
        .exclude(state=State.REMOVED)
        .select_related("pond")
        .prefetch_related("pond__outlets__reach")
        .defer("notes")
        .order_by("ref", "pk")
    )
    listed = []
    for feature in rows:
        row = getattr(feature, "pond", None)
        found, fault = _calc_pond(feature, row)
        listed.append(
            {
                "feature": feature,
                "row": row,
                "outlets": list(row.outlets.all()) if row else [],
                "holds_m3": None if found is None else _between(found),
                "fault": fault,
            }
        )
    return render(
        request,
        "drainage/ponds.html",
        {"rows": listed, "sheet_name": "Drainage · ponds", "may_draw": request.may("course.draw")},
    )


def _between(pond: CalcPond) -> float:
    """Room from the level before the rain to the bank (m³)."""
    return float(pond.volumes_at(pond.bank_level_m) - pond.volumes_at(pond.start_m))


def _calc_pond(feature: Feature, row: Pond | None) -> tuple[CalcPond | None, str]:
    if row is None or not row.stages:
        return None, ""
    row.feature = feature
    try:
        return pond_of(row, row.outlets.all()), ""
    except ValueError as error:
        return None, str(error)


def _pond_feature(request: ClubRequest, uuid: UUID) -> Feature:
    rows = Feature.objects.filter(kind=Kind.POND).exclude(state=State.REMOVED)
    rows = rows.select_related("pond").prefetch_related("pond__outlets__reach")
    return get_row(rows, request.club, uuid)


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def pond(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """A GET with ``make`` fills the table from the outline or the ground; a POST keeps it all."""
    feature = _pond_feature(request, uuid)
    row: Pond | None = getattr(feature, "pond", None)
    outlets = list(row.outlets.all()) if row else []
    drains = [
        one
        for one in _drains(request)
        if one.geometry.distance(feature.geometry) <= NEAR_POND_M
        or any(outlet.reach_id == one.pk for outlet in outlets)
    ]
    posted = request.POST if request.method == "POST" else None
    initial: dict[str, Any] = {"seen": mark_of_pond(row, outlets)}
    if row is not None:
        initial |= {
            "bank_level_m": row.bank_level_m,
            "resting_level_m": row.resting_level_m,
            "stages": _stage_lines(row.stages),
        }
    making = StagesForm(request.GET if "make" in request.GET else None)
    made = posted is None and making.is_bound and making.is_valid()
    if made:
        made = _made_stages(feature, making, initial)
    form = PondForm(posted, initial=initial)
    rows = _outlet_forms(posted, outlets, drains)
    kept = posted is not None and all([form.is_valid(), *(one.is_valid() for one in rows)])
    if kept:
        try:
            _keep_pond(request, feature, form, rows)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "The pond is kept.", extra_tags="good")
            return redirect("drainage:pond", request.club.slug, uuid)
    found, fault = _calc_pond(feature, row)
    wrong = bool(form.errors or any(one.errors for one in rows) or making.errors)
    context: dict[str, Any] = {
        "sheet_name": f"Drainage · pond {feature.ref or feature.title}",
        "feature": feature,
        "row": row,
        "found": found,
        "fault": fault,
        "form": form,
        "outlet_forms": list(enumerate(rows, start=1)),
        "making": making,
        "made": made,
        "may_design": request.may("drainage.design"),
        "outlets": outlets,
    }
    if found is not None:
        working = pond_working(found, found.bank_level_m)
        context |= {
            "figure": draw_pond(found),
            "holds_m3": _between(found),
            "bank_m": found.bank_level_m,
            "start_m": found.start_m,
            "out_l_s": float(working.steps[-1].value),
            "workings": [pond_working(found, found.start_m), working],
        }
    return render(request, "drainage/pond.html", context, status=422 if wrong else 200)


def _stage_lines(stages: Any) -> str:
    return "\n".join(f"{level:.3f} {area:.1f}" for level, area in stages)


def _made_stages(feature: Feature, making: StagesForm, initial: dict[str, Any]) -> bool:
    given = making.cleaned_data
    try:
        if given["make"] == "ground":
            ground = live_ground(feature.club)
            if ground is None:
                raise ValueError("The club has no ground yet: make one from a survey first.")
            stages, bank = stages_from_ground(ground, feature.geometry)
        else:
            told = given["bank_m"] if given["bank_m"] is not None else bank_from_ground(feature)
            if told is None:
                making.add_error("bank_m", "The ground does not tell it here: enter the level.")
                return False
            bank = float(told)
            if given["depth_m"] is None or given["side_slope"] is None:
                raise ValueError("Enter the depth and the sides.")
            stages = stages_from_outline(
                feature.geometry,
                bank_m=bank,
                depth_m=given["depth_m"],
                side_slope=given["side_slope"],
            )
    except ValueError as error:
        making.add_error(None, str(error))
        return False
    initial |= {"bank_level_m": round(bank, 2), "stages": _stage_lines(stages)}
    return True


def _outlet_forms(
    posted: Any, outlets: list[PondOutlet], drains: list[Feature]
) -> list[OutletForm]:
    found = []
    for index in range(max(OUTLET_ROWS, len(outlets) + 1)):
        initial = {}
        if index < len(outlets):
            one = outlets[index]
            initial = {
                "kind": one.kind,
                "level_m": one.level_m,
                "diameter_mm": one.diameter_mm,
                "width_m": one.width_m,
                "reach": str(one.reach.uuid) if one.reach else "",
            }
        found.append(OutletForm(posted, prefix=f"out{index}", initial=initial, drains=drains))
    return found


def _keep_pond(
    request: ClubRequest, feature: Feature, form: PondForm, rows: list[OutletForm]
) -> None:
    set_pond(
        feature=feature,
        by=request.user,
        stages=form.cleaned_data["stages"],
        bank_level_m=form.cleaned_data["bank_level_m"],
        resting_level_m=form.cleaned_data["resting_level_m"],
        outlets=[wish for wish in (one.wish() for one in rows) if wish is not None],
        seen=form.cleaned_data["seen"] or None,
    )


def pond_panel(request: ClubRequest, feature: Feature) -> HttpResponse:
    """The pond's part of the map's side panel."""
    row = Pond.objects.filter(feature=feature).prefetch_related("outlets__reach").first()
    found, fault = _calc_pond(feature, row)
    return render(
        request,
        "drainage/_pond_panel.html",
        {
            "feature": feature,
            "found": found,
            "fault": fault,
            "holds_m3": None if found is None else _between(found),
            "start_m": None if found is None else found.start_m,
            "bank_m": None if found is None else found.bank_level_m,
        },
    )


# ---- through a storm ---------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def storms(request: ClubRequest) -> HttpResponse:
    """Asks for a rain and lists what was led through before."""
    drains = _drains(request)
    storm = live_storm(request.club)
    posted = request.POST if request.method == "POST" else None
    form = ThroughForm(posted, storm=storm, drains=drains)
    if posted is not None and form.is_valid():
        try:
            made = route_or_request(club=request.club, wish=form.wish(), by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            if isinstance(made, Run):
                return redirect(reverse("runs:run", args=[request.club.slug, made.uuid]))
            return redirect("drainage:through", request.club.slug, made.uuid)
    return render(
        request,
        "drainage/storms.html",
        {
            "sheet_name": "Drainage · through a storm",
            "form": form,
            "storm": storm,
            "drains": len(drains),
            "rows": Routing.objects.filter(club=request.club),
            "may_design": request.may("drainage.design"),
        },
        status=422 if form.errors else 200,
    )


@require_GET
@club_page("drainage.read")
def through(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """What came of one rain, as it was when it was led through."""
    row = get_row(Routing.objects.all(), request.club, uuid)
    result = row.result
    at_h = result["at_h"]
    charts: dict[str, Any] = {"rain": rain_chart(at_h, result["rain"]["mm_h"])}
    flows = {one["name"]: one["flow_m3s"] for one in result["hydrographs"]}
    groups = apart_by_size(flows)
    for number, group in enumerate(groups):
        charts[f"flow-{number}"] = hydrograph_chart(
            at_h, group, title="Flow at the lower end of the drains"
        )
    for number, one in enumerate(result["ponds"]):
        pair = {"comes in": one["inflow_m3s"], "goes out": one["outflow_m3s"]}
        charts[f"pond-{number}"] = hydrograph_chart(at_h, pair, title=f"Flow of {one['name']}")
        charts[f"level-{number}"] = level_chart(
            at_h, one["level_m"], start_m=one["start_m"], bank_m=one["bank_m"],
            title=f"Level of {one['name']}",
        )  # fmt: skip
    reaches = sorted(
        result["reaches"],
        key=lambda one: (-one["over_h"], -one["standing_h"], -one["leaving_m3s"]),
    )
    over = [one for one in reaches if one["over_h"] > 0]
    shown = [one | _in_litres(one) for one in reaches[:ROWS_SHOWN]]
    return render(
        request,
        "drainage/through.html",
        {
            "sheet_name": f"Drainage · {row.name}",
            "row": row,
            "result": result,
            "over": len(over),
            "reaches": shown,
            "more": max(0, len(reaches) - ROWS_SHOWN),
            "ponds": [
                one | _in_litres(one) | {"number": number}
                for number, one in enumerate(result["ponds"])
            ],
            "charts": charts,
            "groups": [list(group) for group in groups],
            "share": row.inputs.get("share"),
            "may_design": request.may("drainage.design"),
        },
    )


def _in_litres(one: dict[str, Any]) -> dict[str, float | None]:
    return {
        name.replace("_m3s", "_l_s"): None if value is None else value * 1000
        for name, value in one.items()
        if name.endswith("_m3s") and not isinstance(value, list)
    }


@require_POST
@club_page("drainage.design")
def forget(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Take a kept result away."""
    row = get_row(Routing.objects.all(), request.club, uuid)
    forget_routing(routing=row, by=request.user)
    messages.success(request, f"“{row.name}” is taken away.", extra_tags="good")
    return redirect("drainage:storms", request.club.slug)
