from __future__ import annotations

import gzip
import json
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.cache import patch_vary_headers
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from shapely.geometry.base import BaseGeometry

from worksprog.calc import grid
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.models import Change
from worksprog.course import queries, services
from worksprog.course.forms import FeatureForm, HoleForm, StateForm, shape_from_points, sound
from worksprog.course.models import SHAPES, Feature, Hole, Kind, Source, State
from worksprog.course.queries_water import live_water

# A third of the time of the usual level for a tenth more bytes: digits hardly shrink further.
MAP_GZIP_LEVEL = 3
NO_ROW = "00000000-0000-0000-0000-000000000000"
# What other floors add to the map, by the names of their addresses: nothing is imported from above.
ADDED = {
    "contours": "course:contours",
    "shading": "course:shading",
    "water_lines": "course:water-lines",
    "wetness": "course:wetness",
    "survey_distance": "course:survey-distance",
    "states_on": "planning:feature-states",
    "spells": "planning:drain-spells",
    "reaches": "drainage:map-words",
    "laterals": "drainage:laterals-lines",
}
FRAGMENTS = {
    "works": ("works:feature-panel", "works.read"),
    "hours": ("hours:feature-panel", "progress.read"),
    "drainage": ("drainage:feature-panel", "drainage.read"),
}


def _address(name: str, *args: Any) -> str:
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


# ---- pages -------------------------------------------------------------------------------------


@require_GET
@club_page("course.read")
def map_page(request: ClubRequest) -> HttpResponse:
    club, slug = request.club, request.club.slug
    draws = request.may("course.draw")
    extent = queries.map_extent(club)
    given = {
        "data": reverse("course:map-data", args=[slug]),
        "panel": reverse("course:feature-panel", args=[slug, NO_ROW]),
        "page": reverse("course:feature", args=[slug, NO_ROW]),
        "fragments": {
            name: _address(route, slug, NO_ROW)
            for name, (route, permission) in FRAGMENTS.items()
            if request.may(permission)
        },
        **{name: _address(route, slug) for name, route in ADDED.items()},
        "extent": extent or queries.grid_extent_of(club),
        "fit": queries.local_fit(club, extent),
        "today": club.today().isoformat(),
        "kinds": {kind.value: {"words": kind.label, "shape": SHAPES[kind]} for kind in Kind},
        "states": dict(State.choices),
        "no_row": NO_ROW,
    }
    model = queries.live_ground_model(club)
    if model is not None:
        given["shading_bounds"] = model.shading_bounds
        kept = live_water(club)
        if kept is not None:
            given["water"] = {"bounds": kept.bounds}
    if draws:
        given["draw"] = {
            "new": reverse("course:draw", args=[slug]),
            "measure": reverse("course:measure", args=[slug]),
            **{
                name: reverse(f"course:{name}", args=[slug, NO_ROW])
                for name in ("reshape", "split", "join", "turn", "state", "drop")
            },
        }
    context = {
        "sheet_name": "Map · works at a date",
        "given": given,
        "draws": draws,
        "kinds": [(kind.value, kind.label) for kind in Kind],
        "states": State.choices,
        "form": FeatureForm(club=club, drawing=True, initial=_first_facts(request))
        if draws
        else None,
        "has_ground": model is not None,
        "has_place": extent is not None,
        "surveys_url": _address("course:surveys", slug) if request.may("survey.import") else "",
        "tally": Feature.objects.filter(club=club).aggregate(
            all=Count("id", filter=~Q(state=State.REMOVED)),
            proposed=Count("id", filter=Q(state=State.PROPOSED)),
            on_site=Count("id", filter=Q(state=State.ON_SITE)),
        ),
        "holes": Hole.objects.filter(club=club).count(),
    }
    return render(request, "course/map.html", context)


def _first_facts(request: ClubRequest) -> dict[str, Any]:
    return {
        "state": State.PROPOSED,
        "state_date": request.club.today(),
        "source": Source.DRAWN,
        "kind": Kind.PIPE,
    }


@require_GET
@club_page("course.read")
def map_data(request: ClubRequest) -> HttpResponse:
    text = queries.map_data(request.club).encode()
    answer = HttpResponse(text, content_type="application/geo+json")
    if "gzip" in request.headers.get("Accept-Encoding", ""):
        answer.content = gzip.compress(text, compresslevel=MAP_GZIP_LEVEL)
        answer["Content-Encoding"] = "gzip"
    patch_vary_headers(answer, ["Accept-Encoding"])
    return answer


@require_GET
@club_page("course.read")
def features(request: ClubRequest) -> HttpResponse:
    asked = request.GET
    kind = asked.get("kind", "") if asked.get("kind") in Kind.values else ""
    state = asked.get("state", "") if asked.get("state") in State.values else ""
    number = asked.get("hole", "")
    hole = int(number) if number.isascii() and number.isdigit() and len(number) < 4 else None
    words = asked.get("words", "").strip()[:60]
    rows = queries.listed_features(request.club, kind=kind, state=state, hole=hole, words=words)
    page = Paginator(rows, 60).get_page(asked.get("page"))
    kept = asked.copy()
    kept.pop("page", None)
    context = {
        "sheet_name": "Map · features as a list",
        "page": page,
        "kinds": Kind.choices,
        "states": State.choices,
        "holes": Hole.objects.filter(club=request.club),
        "kind": kind,
        "state": state,
        "hole": hole,
        "words": words,
        "kept": kept.urlencode(),
        "is_filtered": bool(kind or state or hole is not None or words),
    }
    return render(request, "course/features.html", context)


@require_http_methods(["GET", "POST"])
@club_page("course.read", change="course.draw")
def feature(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Feature.objects.select_related("survey"), request.club, uuid)
    draws = request.may("course.draw")
    collision = None
    form = None
    if draws:
        initial = {"seen": services.mark_of(row)}
        form = FeatureForm(request.POST or None, instance=row, club=request.club, initial=initial)
        if request.method == "POST" and form.is_valid():
            try:
                services.change_feature(
                    feature=row, by=request.user, seen=form.cleaned_data["seen"], **form.facts()
                )
            except services.Collision as error:
                collision = error
            except ValidationError as error:
                _add_errors(form, error)
            else:
                messages.success(request, f"{row.title} is kept.", extra_tags="good")
                return redirect("course:feature", request.club.slug, row.uuid)
    now = Feature.objects.select_related("survey").get(pk=row.pk)
    context = {
        "sheet_name": f"Feature · {now.title}",
        "feature": now,
        "holes": now.holes.all(),
        "measures": queries.measures_of(now.kind, now.geometry, queries.live_ground(request.club)),
        "form": form,
        "collision": collision,
        "last_change": _last_change(now) if collision else None,
        "mark": services.mark_of(now),
        "changes": Change.objects.filter(club=request.club, record_uuid=now.uuid).select_related(
            "by"
        )[:12]
        if request.may("changes.read")
        else None,
    }
    status = 409 if collision else 422 if form is not None and form.errors else 200
    return render(request, "course/feature.html", context, status=status)


@require_GET
@club_page("course.read")
def feature_panel(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """The side panel's part of this floor, with the shape as it is now for editing."""
    row = get_row(Feature.objects.select_related("survey"), request.club, uuid)
    context = {
        "feature": row,
        "holes": row.holes.all(),
        "measures": queries.measures_of(row.kind, row.geometry, queries.live_ground(request.club)),
        "draws": request.may("course.draw"),
        "shape": SHAPES[row.kind],
        "states": State.choices,
        "today": request.club.today(),
        "told": _told(row),
    }
    return render(request, "course/_feature_panel.html", context)


@require_http_methods(["GET", "POST"])
@club_page("course.read", change="course.draw")
def holes(request: ClubRequest) -> HttpResponse:
    form = None
    if request.may("course.draw"):
        last = Hole.objects.filter(club=request.club).last()
        new = Hole(club=request.club, number=last.number + 1 if last else 1)
        new.loop = last.loop if last else ""
        form = HoleForm(request.POST or None, instance=new)
        if request.method == "POST" and _hole_kept(request, form):
            return redirect("course:holes", request.club.slug)
    rows = list(
        Hole.objects.filter(club=request.club).annotate(
            feature_count=Count("features", filter=~Q(features__state=State.REMOVED))
        )
    )
    loops: dict[str, list[Hole]] = {}
    for row in rows:
        loops.setdefault(row.loop, []).append(row)
    tables = [
        {
            "loop": loop,
            "holes": members,
            "par": sum(hole.par for hole in members),
            "length": sum(hole.length_m or 0 for hole in members),
        }
        for loop, members in loops.items()
    ]
    context = {"sheet_name": "Map · holes", "tables": tables, "form": form}
    status = 422 if form is not None and form.errors else 200
    return render(request, "course/holes.html", context, status=status)


@require_http_methods(["GET", "POST"])
@club_page("course.draw")
def hole(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Hole, request.club, uuid)
    form = HoleForm(request.POST or None, instance=row)
    if request.method == "POST" and _hole_kept(request, form):
        return redirect("course:holes", request.club.slug)
    return render(
        request,
        "course/hole.html",
        {"sheet_name": f"Map · hole {row.number}", "form": form, "hole": row},
        status=422 if form.errors else 200,
    )


def _hole_kept(request: ClubRequest, form: HoleForm) -> bool:
    if not form.is_valid():
        return False
    try:
        kept = services.save_hole(hole=form.instance, by=request.user)
    except ValidationError as error:
        _add_errors(form, error)
        return False
    messages.success(request, f"Hole {kept.number} is kept.", extra_tags="good")
    return True


# ---- what the map sends ------------------------------------------------------------------------


def _told(row: Feature) -> dict[str, Any]:
    """A feature as the map's script takes it up after a change."""
    text = grid.feature_collection_text(
        [row.geometry],
        [
            {
                "kind": row.kind,
                "state": row.state,
                "ref": row.ref,
                "name": row.name,
                "since": row.state_date.isoformat() if row.state_date else "",
                "holes": [one.number for one in row.holes.all()],
                **({"width": float(row.width_m)} if row.width_m is not None else {}),
            }
        ],
        row.club.epsg,
        ids=[str(row.uuid)],
    )
    return {"feature": json.loads(text)["features"][0], "seen": services.mark_of(row)}


def _last_change(row: Feature) -> str:
    last = Change.objects.filter(club=row.club, record_uuid=row.uuid).select_related("by").first()
    if last is None:
        return "It was changed"
    at = timezone.localtime(last.at, timezone=ZoneInfo(row.club.time_zone))
    return f"{last.by or 'The program'} changed it at {at:%H:%M} on {at.day} {at:%b}"


def _done(rows: list[Feature], words: str) -> JsonResponse:
    fresh = Feature.objects.filter(pk__in=[row.pk for row in rows]).select_related("club")
    by_key = {row.pk: row for row in fresh.prefetch_related("holes")}
    return JsonResponse({"words": words, "features": [_told(by_key[row.pk]) for row in rows]})


def _refused(error: ValidationError | ValueError | str) -> JsonResponse:
    if isinstance(error, ValidationError):
        words = " ".join(error.messages)
    else:
        words = str(error)
    return JsonResponse({"words": words}, status=422)


def _collided(error: services.Collision) -> JsonResponse:
    row = error.feature
    return JsonResponse(
        {"words": str(error), "who": f"{_last_change(row)}.", **_told(row)}, status=409
    )


def _add_errors(form: BaseForm, error: ValidationError) -> None:
    """Errors of the model on the fields that the form has for them."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, found in error.error_dict.items():
        field = "coordinates" if name == "geometry" else name
        form.add_error(field if field in form.fields else None, found)


def _sent(request: HttpRequest) -> dict[str, Any]:
    try:
        data = json.loads(request.body)
    except ValueError:
        return {}
    return data if isinstance(data, dict) else {}


def _drawn_shape(request: ClubRequest, sent: dict[str, Any]) -> BaseGeometry:
    shape: BaseGeometry = grid.geometry_from_geojson(sent.get("geometry") or "", request.club.epsg)
    return shape


@require_POST
@club_page("course.draw")
def draw(request: ClubRequest) -> HttpResponse:
    """A new feature from the form beside the map."""
    form = FeatureForm(request.POST, club=request.club, drawing=True, prefix=None)
    made = None
    if form.is_valid():
        try:
            made = services.create_feature(club=request.club, by=request.user, **form.facts())
        except ValidationError as error:
            _add_errors(form, error)
    if made is None:
        html = render_to_string("clubs/_form.html", {"form": form}, request=request)
        return JsonResponse({"form": html, "words": "Nothing was saved yet."}, status=422)
    return _done([made], f"{made.title} is kept.")


@require_POST
@club_page("course.draw")
def measure(request: ClubRequest) -> HttpResponse:
    """What a shape measures before it is kept; typed points come back as a drawing."""
    sent = _sent(request)
    kind = sent.get("kind")
    if kind not in SHAPES:
        return _refused("Choose what it is first.")
    try:
        if sent.get("coordinates"):
            shape = sound(shape_from_points(kind, str(sent["coordinates"])))
            grid.to_wgs84(request.club.epsg, [shape])
        else:
            shape = _drawn_shape(request, sent)
    except ValueError as error:
        return _refused(error)
    found = queries.measures_of(kind, shape, queries.live_ground(request.club))
    return JsonResponse(
        {
            "geometry": grid.geojson_of([shape], request.club.epsg)[0],
            "coordinates": queries.coordinates_text(shape),
            "measures": [
                {"what": m.what, "value": f"{m.value:,.{m.places}f}", "unit": m.unit, "how": m.how}
                for m in found
            ],
        }
    )


@require_POST
@club_page("course.draw")
def reshape(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Feature, request.club, uuid)
    sent = _sent(request)
    try:
        kept = services.change_feature(
            feature=row,
            by=request.user,
            seen=str(sent.get("seen", "")),
            geometry=_drawn_shape(request, sent),
        )
    except services.Collision as error:
        return _collided(error)
    except (ValidationError, ValueError) as error:
        return _refused(error)
    return _done([kept], f"The new shape of {kept.title} is kept.")


def _cut(request: ClubRequest, row: Feature, sent: dict[str, Any]) -> BaseGeometry:
    """Where to split: typed as metres along a line, or drawn."""
    if not sent.get("at_m"):
        return _drawn_shape(request, sent)
    if SHAPES[row.kind] != "LineString":
        raise ValueError("Only a line is split at a distance from its start.")
    try:
        place: BaseGeometry = row.geometry.interpolate(float(sent["at_m"]))
    except (TypeError, ValueError) as error:
        raise ValueError("Give the distance from its start in metres, such as 42.5.") from error
    return place


@require_POST
@club_page("course.draw")
def split(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Feature, request.club, uuid)
    sent = _sent(request)
    try:
        cut = _cut(request, row, sent)
        parts = services.split_feature(
            feature=row, by=request.user, seen=str(sent.get("seen", "")), cut=cut
        )
    except services.Collision as error:
        return _collided(error)
    except (ValidationError, ValueError) as error:
        return _refused(error)
    words = f"{row.title} is now {len(parts)} features. What hung on it stays with the first."
    if row.kind in (Kind.PIPE, Kind.DITCH):
        words += " Enter the levels of both: the inverts were those of the whole."
    return _done(parts, words)


@require_POST
@club_page("course.draw")
def join(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Feature, request.club, uuid)
    sent = _sent(request)
    other = Feature.objects.filter(club=request.club, uuid__in=_uuids(sent.get("with"))).first()
    if other is None:
        return _refused("Choose another feature on the map to join this one with.")
    try:
        kept = services.join_features(
            first=row,
            second=other,
            on=request.club.today(),
            by=request.user,
            seen=str(sent.get("seen", "")),
        )
    except services.Collision as error:
        return _collided(error)
    except ValidationError as error:
        return _refused(error)
    return _done([kept, other], f"{other.title} was joined into {kept.title}.")


def _uuids(value: Any) -> list[UUID]:
    try:
        return [UUID(str(value))]
    except ValueError:
        return []


@require_POST
@club_page("course.draw")
def turn(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Feature, request.club, uuid)
    try:
        kept = services.turn_round(
            feature=row, by=request.user, seen=str(_sent(request).get("seen", ""))
        )
    except services.Collision as error:
        return _collided(error)
    except ValidationError as error:
        return _refused(error)
    return _done([kept], f"{kept.title} now runs the other way.")


@require_POST
@club_page("course.draw")
def state(request: ClubRequest, uuid: UUID) -> HttpResponse:
    row = get_row(Feature, request.club, uuid)
    form = StateForm(_sent(request))
    if not form.is_valid():
        return _refused("Choose a state and the day from which it holds.")
    try:
        kept = services.set_feature_state(
            feature=row,
            by=request.user,
            state=form.cleaned_data["state"],
            on=form.cleaned_data["on"],
            seen=form.cleaned_data["seen"],
        )
    except services.Collision as error:
        return _collided(error)
    except ValidationError as error:
        return _refused(error)
    return _done([kept], f"{kept.title} is {kept.get_state_display()}.")


@require_POST
@club_page("course.draw")
def drop(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Takes away what was drawn by mistake: from the map by its script, from its page by a form."""
    row = get_row(Feature, request.club, uuid)
    from_map = request.content_type == "application/json"
    seen = str(_sent(request).get("seen", "")) if from_map else request.POST.get("seen", "")
    words = f"{row.title} is dropped; the record of changes keeps what it was."
    try:
        services.drop_feature(feature=row, by=request.user, seen=seen)
    except services.Collision as error:
        if from_map:
            return _collided(error)
        messages.error(request, str(error))
    except ValidationError as error:
        if from_map:
            return _refused(error)
        messages.error(request, " ".join(error.messages))
    else:
        if from_map:
            return JsonResponse({"words": words, "dropped": str(uuid)})
        messages.success(request, words, extra_tags="good")
        return redirect("course:features", request.club.slug)
    return redirect("course:feature", request.club.slug, uuid)
