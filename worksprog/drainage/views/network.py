from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.network import Finding, NetworkCheck, ReachCheck
from worksprog.calc.pipes import PipeSection
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, Kind, State
from worksprog.drainage import queries, services
from worksprog.drainage.bridge import levels_of
from worksprog.drainage.drawing import draw_long_section, draw_network
from worksprog.drainage.forms import NodeForm, ReachForm, StormForm
from worksprog.drainage.models import DrainNode, DrainReach
from worksprog.drainage.queries.sheets import drain_on_paper
from worksprog.drainage.views import laterals, water
from worksprog.drainage.views.reach_figures import arrival_of, ditch_of, water_of

REACHES_ON_A_PAGE = 100
FINDINGS_SHOWN, FINDINGS_FOLDED = 12, 100
SHOWN = {
    "fault": "at fault",
    "too_small": "too small",
    "unknown": "cannot be told",
    "carries": "carry it",
}
FINDING_HEADS = {
    "loop": "Water would run in a ring",
    "feet": "Levels that look like feet",
    "uphill": "Levels that rise",
    "flat": "Flat",
    "dead_end": "No outfall",
    "missing_level": "Levels missing",
    "missing_section": "Sections missing",
    "split": "The flow divides",
    "step_up": "Water must climb",
    "narrows": "The bore narrows",
    "strung_out": "Ends in a string",
    "stray_node": "Not joined to a drain",
    "silting": "Slow enough to silt",
    "scour": "Fast enough to cut",
    "large_catchment": "Catchment beyond the method",
    "from_pond": "Starts in a pond",
    "surfaces": "Water comes out of the ground",
    "drowned": "Outfall under water",
    "two_outfalls": "More than one outfall",
}


def _worst_first(reach: ReachCheck) -> tuple[int, float]:
    """What is at fault, too small by most, what cannot be told, then what has least to spare."""
    small = reach.state == "too_small"
    place = list(SHOWN).index(reach.state)
    return place, -reach.shortfall_m3s if small else (reach.spare_share or 0.0)


def _address(request: ClubRequest, key: str) -> str:
    return reverse("drainage:reach", args=[request.club.slug, key])


def _row(request: ClubRequest, reach: ReachCheck) -> dict[str, Any]:
    return {
        "check": reach,
        "address": _address(request, reach.key),
        "flow_l_s": None if reach.flow_m3s is None else reach.flow_m3s * 1000,
        "capacity_l_s": None if reach.capacity_m3s is None else reach.capacity_m3s * 1000,
    }


def _grouped(request: ClubRequest, findings: tuple[Finding, ...]) -> list[dict[str, Any]]:
    """Findings by kind, the first few open and the rest folded away."""
    kinds: dict[str, list[dict[str, Any]]] = {}
    for finding in findings:
        address = _address(request, finding.reach_keys[0]) if finding.reach_keys else ""
        kinds.setdefault(finding.kind, []).append({"words": finding.words, "address": address})
    return [
        {
            "head": FINDING_HEADS[kind],
            "count": len(rows),
            "first": rows[:FINDINGS_SHOWN],
            "rest": rows[FINDINGS_SHOWN : FINDINGS_SHOWN + FINDINGS_FOLDED],
            "left_out": max(0, len(rows) - FINDINGS_SHOWN - FINDINGS_FOLDED),
        }
        for kind, rows in kinds.items()
    ]


def _checked(request: ClubRequest) -> tuple[NetworkCheck, bool]:
    """The check of the page: everything drawn, or only what stands today."""
    standing_only = request.GET.get("stands") == "1"
    on_date = request.club.today() if standing_only else None
    return queries.check_network(request.club, on_date), standing_only


def _drain_line(request: ClubRequest, uuid: UUID) -> Feature:
    rows = Feature.objects.filter(kind__in=DRAIN_LINES).exclude(state=State.REMOVED)
    return get_row(rows.select_related("reach"), request.club, uuid)


@require_GET
@club_page("drainage.read")
def network(request: ClubRequest) -> HttpResponse:
    check, standing_only = _checked(request)
    show = request.GET.get("show", "")
    reaches = sorted(
        (reach for reach in check.reaches if show not in SHOWN or reach.state == show),
        key=_worst_first,
    )
    page = Paginator(reaches, REACHES_ON_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "drainage/network.html",
        {
            "sheet_name": "Drainage · the network",
            "check": check,
            "storm": queries.live_storm(request.club),
            "standing_only": standing_only,
            "show": show,
            "choices": [
                {"value": state, "words": words, "count": check.count(state)}  # type: ignore[arg-type]
                for state, words in SHOWN.items()
            ],
            "page": page,
            "rows": [_row(request, reach) for reach in page],
            "figure": draw_network(
                check, addresses={one.key: _address(request, one.key) for one in check.reaches}
            ),
            "faults": _grouped(request, check.faults),
            "advice": _grouped(request, check.advice),
            "moved": [
                moved.words(check.reach(moved.reach_key).name)
                for moved in check.moved[:REACHES_ON_A_PAGE]
            ],
            "comes_out": sum(finding.kind == "surfaces" for finding in check.advice),
            "length_m": sum(reach.length_m for reach in check.reaches),
            "outfalls": len({reach.outfall_name for reach in check.reaches} - {""}),
            "may_design": request.may("drainage.design"),
        },
    )


@require_GET
@club_page("drainage.read")
def build_order(request: ClubRequest) -> HttpResponse:
    """Outfall first: the order in which reaches may be built."""
    check = queries.check_network(request.club)
    every = request.GET.get("all") == "1"
    keys = [key for key in check.order if every or not check.reach(key).standing]
    page = Paginator(keys, REACHES_ON_A_PAGE).get_page(request.GET.get("page"))
    rows = []
    for key in page:
        reach = check.reach(key)
        rows.append(
            _row(request, reach)
            | {
                "after": [check.reach(below).name for below in reach.waits_for],
                "below": [check.reach(below).name for below in reach.below],
            }
        )
    return render(
        request,
        "drainage/order.html",
        {
            "sheet_name": "Drainage · outfall first",
            "page": page,
            "rows": rows,
            "every": every,
            "left_out": [
                _row(request, reach) for reach in check.reaches if reach.build_step is None
            ],
        },
    )


@require_http_methods(["GET", "POST"])
@club_page("drainage.design")
def storm(request: ClubRequest) -> HttpResponse:
    live = queries.live_storm(request.club)
    form = StormForm(
        request.POST or None,
        initial={
            "name": live.name,
            "return_period_years": live.return_period_years,
            "intensity_mm_h": live.intensity_mm_h,
            "source": live.source if live.pk else "",
            "table": live.table_id,
            "climate_allowance_percent": live.climate_allowance_percent,
            "time_formula": live.time_formula,
        },
        club=request.club,
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.set_design_storm(club=request.club, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            _tell(form, error)
        else:
            messages.success(
                request, "The network is now checked for this storm.", extra_tags="good"
            )
            return redirect("drainage:network", request.club.slug)
    return render(
        request,
        "drainage/storm.html",
        {"sheet_name": "Drainage · design storm", "form": form, "storm": live},
    )


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def reach(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature = _drain_line(request, uuid)
    form, collision = None, None
    if request.may("drainage.design"):
        row = getattr(feature, "reach", None) or DrainReach(club=request.club, feature=feature)
        initial = {"seen": services.mark_of(feature, row)}
        row = _as_it_lies(feature, row)
        form = ReachForm(request.POST or None, instance=row, kind=feature.kind, initial=initial)
    if form is not None and request.method == "POST":
        kept = False
        if form.is_valid():
            try:
                kept = _kept(form, feature, request)
            except services.Collision as error:
                collision = _collided(form, error)
        if kept:
            told = queries.check_holding(request.club, uuid).reach(str(uuid))
            messages.success(request, f"Kept. {told.name}: {told.verdict}.", extra_tags="good")
            return redirect("drainage:reach", request.club.slug, uuid)
        feature = _drain_line(request, uuid)
    check = queries.check_holding(request.club, uuid)
    try:
        found = check.reach(str(uuid))
    except KeyError as error:
        raise Http404 from error
    wet_spell = check.wet_spell(found.key)
    workings = list(check.workings(found.key))
    if wet_spell is not None:
        workings.append(wet_spell.working())
    return render(
        request,
        "drainage/reach.html",
        {
            "sheet_name": f"Drainage · {found.name}",
            "feature": feature,
            "found": _row(request, found),
            "spare": found.spare_told,
            "arrival": arrival_of(check, found),
            "water": water_of(check, found),
            "ditch": ditch_of(check, found),
            "told": [finding.words for finding in check.told_of(found.key)],
            "storm": check.storm,
            "form": form,
            "wet_spell": wet_spell,
            "workings": [
                {"title": working.title, "rows": working.as_rows(), "notes": working.notes}
                for working in workings
            ],
            "above": [_row(request, check.reach(key)) for key in found.above],
            "below": [_row(request, check.reach(key)) for key in found.below],
            "waits_for": [check.reach(key).name for key in found.waits_for],
            "led_into": check.led_into(found.key),
            "nodes": _node_links(
                request, check, (*found.upstream_node_keys, *found.downstream_node_keys)
            ),
            "figure": draw_network(check, addresses={}, here=found.key, width=360),
            "services": queries.services_near(request.club, feature),
            "collision": collision,
        },
        status=409 if collision else 200,
    )


def _as_it_lies(feature: Feature, row: DrainReach) -> DrainReach:
    """The row with its levels by the way its line runs now."""
    levels = levels_of(feature, row)
    row.upstream_invert_m, row.downstream_invert_m = levels.upstream_m, levels.downstream_m
    return row


def _collided(form: ReachForm | NodeForm, error: services.Collision) -> dict[str, Any]:
    """Who changed it in the meantime, when, and where it differs from what was entered."""
    feature, row = error.feature, error.row
    form.look_again(services.mark_of(feature, row))
    if isinstance(row, DrainReach):
        row = _as_it_lies(feature, row)
    return {
        "who": queries.last_change_of(feature.club, feature.uuid, row.uuid),
        "differs": form.set_against(row),
    }


def _node_links(
    request: ClubRequest, check: NetworkCheck, keys: tuple[str, ...]
) -> list[dict[str, str]]:
    nodes = [check.nodes[key] for key in dict.fromkeys(keys)]
    return [
        {
            "words": f"{node.kind} {node.name}",
            "address": reverse("drainage:node", args=[request.club.slug, node.key]),
        }
        for node in nodes
        if node.kind != "pond"
    ]


def _kept(form: ReachForm, feature: Feature, request: ClubRequest) -> bool:
    try:
        seen = form.cleaned_data["seen"] or None
        services.set_reach(feature=feature, by=request.user, seen=seen, **form.entered())
    except ValidationError as error:
        _tell(form, error)
        return False
    return True


def _tell(form: Any, error: ValidationError) -> None:
    """Put a service's refusal beside its field, or above the form when it has none here."""
    told: Mapping[str, list[str]] = (
        error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    )
    for name, words in told.items():
        for sentence in words:
            form.add_error(name if name in form.fields else None, sentence)


@require_POST
@club_page("drainage.design")
def swap(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature = _drain_line(request, uuid)
    services.swap_direction(feature=feature, by=request.user)
    messages.success(
        request,
        "It now runs the other way; its levels stayed where they are in the ground.",
        extra_tags="good",
    )
    return redirect("drainage:reach", request.club.slug, uuid)


@require_GET
@club_page("drainage.read")
def long_section(request: ClubRequest, uuid: UUID) -> HttpResponse:
    feature = _drain_line(request, uuid)
    try:
        drain = drain_on_paper(request.club, feature.uuid)
    except KeyError as error:
        raise Http404 from error
    section, check = drain.section, drain.check
    return render(
        request,
        "drainage/long_section.html",
        {
            "sheet_name": f"Drainage · long section from {section.top_name}",
            "feature": feature,
            "section": section,
            "figure": draw_long_section(section, width=900, built=drain.built_levels),
            "facts": drain.facts(),
            "drain": drain,
            "deepest": section.deepest_invert,
            "pieces": [
                {
                    "piece": piece,
                    "length_m": piece.upper_chainage_m - piece.lower_chainage_m,
                    "address": _address(request, piece.key),
                }
                for piece in section.pieces
            ],
            "storm": check.storm,
        },
    )


@require_GET
@club_page("drainage.read")
def map_words(request: ClubRequest) -> JsonResponse:
    """A few words for each reach on the map: its size and its fall."""
    check = queries.check_network(request.club, over_ground=False)
    words = {}
    for found in check.reaches:
        section = check.given[found.key].section
        size = f"{section.diameter_m * 1000:.0f} mm" if isinstance(section, PipeSection) else ""
        fall = f"1 in {found.one_in:.0f}" if found.one_in and found.one_in > 0 else ""
        if found.state == "fault":
            fall = f"× {found.fault_words}"
        words[found.key] = " · ".join(part for part in (size, fall) if part)
    return JsonResponse({"words": {key: said for key, said in words.items() if said}})


@require_GET
@club_page("drainage.read")
def feature_panel(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The drain's part of the map's side panel; 404 for what is no drain."""
    drains = Feature.objects.filter(kind__in=[*DRAIN_LINES, *DRAIN_NODES, Kind.LATERALS, Kind.POND])
    feature = get_row(drains.exclude(state=State.REMOVED), request.club, uuid)
    if feature.kind == Kind.LATERALS:
        return laterals.panel(request, feature)
    if feature.kind == Kind.POND:
        return water.pond_panel(request, feature)
    check = queries.check_holding(request.club, uuid)
    key = str(uuid)
    try:
        found = check.reach(key) if feature.kind in DRAIN_LINES else None
    except KeyError as error:
        raise Http404 from error
    met = [
        _row(request, one)
        for one in check.reaches
        if key in (*one.upstream_node_keys, *one.downstream_node_keys)
    ]
    return render(
        request,
        "drainage/_feature_panel.html",
        {
            "feature": feature,
            "found": None if found is None else _row(request, found),
            "node": check.nodes.get(key),
            "met": met,
            "storm": check.storm,
            "waits_for": [check.reach(below).name for below in found.waits_for] if found else [],
            "led_into": check.led_into(key) if found else (),
        },
    )


@require_http_methods(["GET", "POST"])
@club_page("drainage.read", change="drainage.design")
def node(request: ClubRequest, uuid: UUID) -> HttpResponse:
    rows = Feature.objects.filter(kind__in=DRAIN_NODES).exclude(state=State.REMOVED)
    feature = get_row(rows.select_related("node"), request.club, uuid)
    row = getattr(feature, "node", None) or DrainNode(club=request.club, feature=feature)
    form, collision = None, None
    if request.may("drainage.design"):
        initial = {"seen": services.mark_of(feature, row)}
        form = NodeForm(request.POST or None, instance=row, kind=feature.kind, initial=initial)
    if form is not None and request.method == "POST" and form.is_valid():
        try:
            seen = form.cleaned_data["seen"] or None
            services.set_node_levels(feature=feature, by=request.user, seen=seen, **form.entered())
        except services.Collision as error:
            collision = _collided(form, error)
        except ValidationError as error:
            _tell(form, error)
        else:
            messages.success(request, "The levels are kept.", extra_tags="good")
            return redirect("drainage:node", request.club.slug, uuid)
    check = queries.check_network(request.club)
    met = [
        reach
        for reach in check.reaches
        if str(uuid) in (*reach.upstream_node_keys, *reach.downstream_node_keys)
    ]
    return render(
        request,
        "drainage/node.html",
        {
            "sheet_name": f"Drainage · {feature.ref or feature.title}",
            "feature": feature,
            "row": row,
            "form": form,
            "met": [
                _row(request, reach) | {"arrives": str(uuid) in reach.downstream_node_keys}
                for reach in met
            ],
            "is_outfall": feature.kind == Kind.OUTFALL,
            "led_into": sorted(
                {
                    check.reach(below).name
                    for reach in met
                    if str(uuid) in reach.downstream_node_keys
                    for below in reach.below
                }
            ),
            "levels": queries.levels_at_node(check, str(uuid)),
            "collision": collision,
        },
        status=409 if collision else 200,
    )
