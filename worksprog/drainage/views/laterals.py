from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from worksprog.calc.grid import feature_collection_text
from worksprog.calc.ground import Ground
from worksprog.calc.laterals import (
    AreaFall,
    backfill_for,
    hooghoudt_spacing_m,
    lateral_working,
    spacing_working,
)
from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import Feature, Kind, State
from worksprog.course.queries import live_ground
from worksprog.drainage import queries
from worksprog.drainage.drawing.laterals import draw_laterals
from worksprog.drainage.forms.laterals import LateralsForm
from worksprog.drainage.models import LateralLayout
from worksprog.drainage.queries.laterals import (
    Laid,
    best_start,
    carriers_near,
    fall_within,
    lay_into,
)
from worksprog.drainage.services.laterals import keep_layout

SHOWN = 100
PIPE_WALL = 1.1  # outside over inside diameter of a corrugated drain pipe (from memory)


def _area(request: ClubRequest, uuid: UUID) -> Feature:
    rows = Feature.objects.filter(kind=Kind.LATERALS).exclude(state=State.REMOVED)
    return get_row(rows.select_related("layout__carrier"), request.club, uuid)


def _layout_of(area: Feature) -> LateralLayout | None:
    return getattr(area, "layout", None)


@require_GET
@club_page("drainage.read")
def areas(request: ClubRequest) -> HttpResponse:
    rows = (
        Feature.objects.filter(club=request.club, kind=Kind.LATERALS)
        .exclude(state=State.REMOVED)
        .select_related("layout__carrier")
        .prefetch_related("holes")
        .defer("notes")
        .order_by("ref", "pk")
    )
    listed = [{"area": row, "layout": _layout_of(row)} for row in rows]
    return render(
        request,
        "drainage/laterals_list.html",
        {
            "rows": listed,
            "may_design": request.may("drainage.design"),
            "may_draw": request.may("course.draw"),
            "sheet_name": "Laterals",
        },
    )


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def laterals(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """A GET with figures tries a layout; a POST keeps it."""
    area = _area(request, uuid)
    kept, carriers = _layout_of(area), carriers_near(area)
    ground = live_ground(request.club)
    fall = fall_within(area, ground)
    data: QueryDict | dict[str, Any] | None = request.POST if request.method == "POST" else None
    tried = request.method == "GET" and "spacing_m" in request.GET
    if tried:
        data = request.GET
    elif data is None and kept is not None:
        data = kept.inputs
    elif data is None:
        data = _usual(area, carriers, fall, ground)
    form = LateralsForm(data, carriers=carriers)
    laid: Laid | None = None
    if form.is_valid():
        if fall is None and form.cleaned_data["fall_bearing_deg"] is None:
            form.add_error(
                "fall_bearing_deg",
                "Too little ground is known in this area to tell its fall: enter the bearing.",
            )
        else:
            try:
                wish, drain = form.wish(fall.bearing_deg if fall else 0.0), form.drain()
                if request.method == "POST":
                    keep_layout(
                        area=area,
                        carrier=form.carrier_row,
                        wish=wish,
                        drain=drain,
                        inputs=_entered(form),
                        by=request.user,
                    )
                    messages.success(request, "The layout is kept.", extra_tags="good")
                    return redirect("drainage:laterals", request.club.slug, area.uuid)
                laid = lay_into(area, form.carrier_row, wish, drain, ground)
            except ValidationError as error:
                form.add_error(None, error)
            except ValueError as error:
                form.add_error(None, str(error))
    context = _context(request, area, kept, form, fall, laid)
    context["tried"] = tried
    return render(request, "drainage/laterals.html", context, status=422 if form.errors else 200)


def _usual(
    area: Feature, carriers: list[Feature], fall: AreaFall | None, ground: Ground | None
) -> dict[str, Any]:
    """The form's starting figures, as if they had been entered, with the nearest carrier.

    A carrier that runs through the area is joined from both its sides. Where the ground is known,
    the carrier, pattern and angle with the least at fault, metre for metre, are taken.
    """
    form = LateralsForm(carriers=carriers)
    given = {name: field.initial for name, field in form.fields.items()}
    if carriers:
        given["carrier"] = str(carriers[0].uuid)
        if carriers[0].geometry.intersection(area.geometry).length > given["spacing_m"]:
            given["pattern"] = LateralLayout.Pattern.HERRINGBONE
    form = LateralsForm(given, carriers=carriers)
    if carriers and fall is not None and form.is_valid():
        start = best_start(area, carriers, form.wish(fall.bearing_deg), form.drain(), ground)
        if start is not None:
            carrier, wish = start
            given |= {
                "carrier": str(carrier.uuid),
                "pattern": wish.pattern,
                "angle_to_fall_deg": wish.angle_to_fall_deg,
            }
    return given


def _entered(form: LateralsForm) -> dict[str, Any]:
    return dict(form.cleaned_data)


def _spacing(form: LateralsForm) -> dict[str, Any]:
    """What the soil asks for, beside what was wished."""
    soil, given = form.soil(), form.cleaned_data
    found: dict[str, Any] = {}
    try:
        found["spacing_m"] = hooghoudt_spacing_m(soil)
        found["spacing_working"] = spacing_working(soil)
    except ValueError as error:
        found["spacing_refused"] = str(error)
    try:
        found["backfill"] = backfill_for(
            width_m=given["trench_m"],
            height_m=given["backfill_m"],
            outside_diameter_m=given["bore_mm"] / 1000 * PIPE_WALL,
            density_t_m3=given["density_t_m3"],
            spacing_m=given["spacing_m"],
            conductivity_m_d=given["backfill_k_m_d"],
        )
    except ValueError as error:
        found["backfill_refused"] = str(error)
    return found


def _context(
    request: ClubRequest,
    area: Feature,
    kept: LateralLayout | None,
    form: LateralsForm,
    fall: AreaFall | None,
    laid: Laid | None,
) -> dict[str, Any]:
    context: dict[str, Any] = {
        "area": area,
        "kept": kept,
        "form": form,
        "fall": fall,
        "laid": laid,
        "may_design": request.may("drainage.design"),
        "services": queries.services_near(request.club, area),
        "sheet_name": f"Laterals {area.ref or area.name}",
    }
    if laid is None:
        return context
    drain, carrier = form.drain(), form.carrier_row
    worst = sorted(laid.rows, key=lambda row: (not row[1].is_fault, row[0].number))
    bearing: float | None = form.cleaned_data["fall_bearing_deg"]
    if bearing is None and fall is not None:
        bearing = fall.bearing_deg
    context |= {
        **_spacing(form),
        "carrier": carrier,
        "rows": worst[:SHOWN],
        "more": max(0, len(worst) - SHOWN),
        "working": lateral_working(*worst[0], drain) if worst else None,
        "flow_l_s": sum(level.flow_m3s for level in laid.levels) * 1000,
        "figure": draw_laterals(
            area.geometry,
            None if carrier is None else carrier.geometry,
            laid.layout,
            laid.levels,
            fall_bearing_deg=bearing,
            title=f"Plan of {len(laid.layout.laterals)} laterals in {area.title}",
        ),
    }
    if "backfill" in context:
        context["backfill_m3"] = context["backfill"].volume_m3_m * laid.layout.length_m
        context["backfill_t"] = context["backfill"].mass_t_m * laid.layout.length_m
    return context


def panel(request: ClubRequest, area: Feature) -> HttpResponse:
    """The layout's part of the map's side panel."""
    layout = LateralLayout.objects.filter(feature=area).select_related("carrier", "feature").first()
    return render(request, "drainage/_laterals_panel.html", {"feature": area, "layout": layout})


@require_GET
@club_page("drainage.read")
def lines(request: ClubRequest) -> HttpResponse:
    """The drains of every kept layout, for the map. One query."""
    rows = list(
        LateralLayout.objects.filter(club=request.club, lines__isnull=False)
        .exclude(feature__state=State.REMOVED)
        .select_related("feature")
    )
    text = feature_collection_text(
        [row.lines for row in rows],
        [{"of": str(row.feature.uuid)} for row in rows],
        request.club.epsg,
    )
    return HttpResponse(text, content_type="application/geo+json")


@require_GET
@club_page("drainage.read")
def laterals_csv(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Both ends of every drain of the kept layout, to set out by."""
    area = _area(request, uuid)
    kept = _layout_of(area)
    if kept is None:
        messages.warning(request, "No layout is kept for this area yet: keep one first.")
        return redirect("drainage:laterals", request.club.slug, area.uuid)
    carriers = carriers_near(area)
    form = LateralsForm(kept.inputs, carriers=carriers)
    ground = live_ground(request.club)
    fall = fall_within(area, ground)
    if not form.is_valid() or (fall is None and form.cleaned_data["fall_bearing_deg"] is None):
        messages.warning(request, "The kept layout can no longer be worked out: lay it out anew.")
        return redirect("drainage:laterals", request.club.slug, area.uuid)
    laid = lay_into(
        area, form.carrier_row, form.wish(fall.bearing_deg if fall else 0.0), form.drain(), ground
    )
    return csv_answer(
        f"laterals-{area.ref or area.pk}",
        ["lateral", "head easting (m)", "head northing (m)", "head invert (m)", "foot easting (m)",
         "foot northing (m)", "foot invert (m)", "length (m)", "gradient, 1 in",
         "joins the carrier at (m)"],
        [
            [lateral.number, *(f"{metres:.3f}" for metres in lateral.line[0]),
             _three(level.upper_invert_m), *(f"{metres:.3f}" for metres in lateral.line[1]),
             _three(level.lower_invert_m), f"{lateral.length_m:.2f}",
             "" if level.one_in is None else f"{level.one_in:.0f}",
             "" if lateral.joins_at_m is None else f"{lateral.joins_at_m:.2f}"]
            for lateral, level in laid.rows
        ],
    )  # fmt: skip


def _three(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"
