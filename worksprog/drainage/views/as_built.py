"""Pages of what was built: one drain, where it differs from drawn, the surveyor's file, the register."""

from __future__ import annotations

from hashlib import sha256
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_safe

from worksprog.clubs.csv_files import csv_answer
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, State
from worksprog.course.queries import live_ground
from worksprog.course.reading.results import ReadError, Refusal
from worksprog.drainage import exchange, queries
from worksprog.drainage.bridge import short_name
from worksprog.drainage.drawing.as_built import draw_as_built
from worksprog.drainage.forms.as_built import (
    CloseForm,
    LevelForm,
    LevelsFileForm,
    RegisterForm,
    club_drains,
)
from worksprog.drainage.models import AsBuiltLevel
from worksprog.drainage.queries.as_built import (
    RegisterRow,
    as_built_of,
    every_as_built,
    register_of,
)
from worksprog.drainage.queries.level_remarks import above_ground_words
from worksprog.drainage.reading_levels import LevelsRead, read_levels
from worksprog.drainage.services.as_built import (
    Measured,
    StillOpen,
    close_trench,
    correct_level,
    faults_of,
    keep_measured,
)

REFUSALS_SHOWN = 200


def _tell(form: Any, error: ValidationError) -> None:
    told = error.message_dict if hasattr(error, "error_dict") else {"": error.messages}
    for name, words in told.items():
        for sentence in words:
            form.add_error(name if name in form.fields else None, sentence)


def _drain(request: ClubRequest, uuid: UUID) -> Feature:
    rows = Feature.objects.filter(kind__in=DRAIN_LINES | DRAIN_NODES).exclude(state=State.REMOVED)
    return get_row(rows.select_related("reach", "node", "club"), request.club, uuid)


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("drainage.read", change="drainage.measure")
def as_built(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """One drain: what was built beside what was drawn, and the closing of its trench."""
    feature = _drain(request, uuid)
    form = None
    if feature.kind in DRAIN_LINES and request.may("drainage.measure"):
        form = CloseForm(request.POST or None, initial={"on": request.club.today()})
    if form is not None and request.method == "POST" and form.is_valid():
        try:
            close_trench(
                feature=feature, on=form.cleaned_data["on"], by=request.user,
                despite=form.cleaned_data["despite"], **form.facts(),
            )  # fmt: skip
        except (StillOpen, ValidationError) as error:
            _tell(form, error)
        else:
            messages.success(request, "The trench is recorded as closed.", extra_tags="good")
            return redirect("drainage:as-built", request.club.slug, uuid)
    flow = None
    if feature.kind in DRAIN_LINES:
        check = queries.check_network(request.club, over_ground=False)
        flow = next((one.flow_m3s for one in check.reaches if one.key == str(uuid)), None)
    found = as_built_of(feature, flow_m3s=flow)
    ground = live_ground(request.club) if found.lines else None
    above = [above_ground_words(line.row, ground) for line in found.lines if line.counts]
    return render(
        request,
        "drainage/as_built.html",
        {
            "sheet_name": f"As built · {short_name(feature)}",
            "feature": feature,
            "name": short_name(feature),
            "found": found,
            "above": [words for words in above if words],
            "figure": draw_as_built(found),
            "form": form,
            "workings": [row.stretch.working() for row in found.stretches][:40],
            "may_measure": request.may("drainage.measure"),
        },
        status=422 if form is not None and form.errors else 200,
    )


@require_GET
@club_page("drainage.read")
def as_built_list(request: ClubRequest) -> HttpResponse:
    """Where built differs from drawn, worst first, and what else was levelled."""
    check = queries.check_network(request.club, over_ground=False)
    levelled = [one for one in every_as_built(request.club, check) if one.lines]
    differ = sorted(
        (one for one in levelled if one.differs),
        key=lambda one: (
            not one.backfalls,
            -max(
                (abs(line.difference.difference_m) for line in one.off_design if line.difference),
                default=0.0,
            ),
        ),
    )
    return render(
        request,
        "drainage/as_built_list.html",
        {
            "sheet_name": "As built · where it differs from drawn",
            "differ": differ,
            "alike": [one for one in levelled if not one.differs],
            "put_right": [(one, line) for one in levelled for line in one.put_right],
            "may_measure": request.may("drainage.measure"),
            "may_design": request.may("drainage.design"),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("drainage.measure")
def correct(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """A level in the place of a wrong one, which stays and is struck through."""
    rows = AsBuiltLevel.objects.select_related("feature__reach", "feature__node", "feature__club")
    wrong = get_row(rows, request.club, uuid)
    initial = {
        name: getattr(wrong, name)
        for name in ("of", "how", "level_accuracy_m", "chainage_m", "peg_level_m", "below_peg_m")
    } | {"measured_on": request.club.today()}
    if wrong.below_peg_m is None:
        initial["level_m"] = wrong.level_m
    form = LevelForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            correct_level(
                wrong=wrong, measured=form.measured(wrong), why=form.cleaned_data["why"],
                by=request.user,
            )  # fmt: skip
        except ValidationError as error:
            _tell(form, error)
        else:
            messages.success(request, "The level is corrected.", extra_tags="good")
            return redirect("drainage:as-built", request.club.slug, wrong.feature.uuid)
    return render(
        request,
        "drainage/as_built_correct.html",
        {
            "sheet_name": f"Correct a level · {short_name(wrong.feature)}",
            "wrong": wrong,
            "name": short_name(wrong.feature),
            "form": form,
        },
        status=422 if form.errors else 200,
    )


@never_cache
@require_safe
@club_page("drainage.read")
def photo(request: ClubRequest, uuid: UUID) -> HttpResponseBase:
    """A photo of the club's own, through the door."""
    row = get_row(AsBuiltLevel, request.club, uuid)
    if not row.photo:
        raise Http404
    try:
        stream = row.photo.open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    return FileResponse(
        stream, content_type="image/jpeg", headers={"X-Content-Type-Options": "nosniff"}
    )


@require_http_methods(["GET", "HEAD", "POST"])
@club_page("drainage.measure")
def levels_file(request: ClubRequest) -> HttpResponse:
    """The surveyor's table: read, shown, and kept whole or not at all."""
    drains = club_drains(request.club)
    is_sent = request.method == "POST"
    form = LevelsFileForm(
        request.POST if is_sent else None,
        request.FILES if is_sent else None,
        drains=drains,
        initial={"measured_on": request.club.today()},
    )
    read: LevelsRead | None = None
    if form.is_valid():
        try:
            data, name = _brought(form)
            read = read_levels(data, drains=drains, only=form.only)
            read = _with_faults(read, request.club, _rows(request, form, read, data))
            if request.POST.get("keep") == "yes" and not read.refusals:
                made = keep_measured(
                    club=request.club, rows=_rows(request, form, read, data), by=request.user,
                    file_name=name,
                )  # fmt: skip
                messages.success(request, f"{len(made)} levels are kept.", extra_tags="good")
                return redirect("drainage:as-built-list", request.club.slug)
            kept = request.POST.copy()
            kept["text"], kept["file_name"] = data.decode("utf-8-sig", "replace"), name
            form.data = kept
        except (ReadError, ValidationError) as error:
            words = error.messages if isinstance(error, ValidationError) else [str(error)]
            form.add_error("upload", " ".join(words))
    return render(
        request,
        "drainage/as_built_file.html",
        {
            "sheet_name": "As built · the surveyor's file",
            "form": form,
            "read": read if not form.errors else None,
            "refusals": read.refusals[:REFUSALS_SHOWN] if read else [],
            "all": len(read.rows) + len(read.refusals) if read else 0,
            "more": max(0, len(read.refusals) - REFUSALS_SHOWN) if read else 0,
        },
        status=422 if form.errors else 200,
    )


def _with_faults(
    read: LevelsRead, club: Club, rows: list[tuple[Feature, Measured, UUID]]
) -> LevelsRead:
    """Rows that the drain itself refuses stand among the refused ones before anything is kept."""
    faults = dict(faults_of(club=club, rows=rows))
    refused = [Refusal(f"line {read.rows[n].line}", words) for n, words in faults.items()]
    every = sorted((*read.refusals, *refused), key=lambda one: int(one.row.removeprefix("line ")))
    good = tuple(row for n, row in enumerate(read.rows) if n not in faults)
    return LevelsRead(good, tuple(every))


def _brought(form: LevelsFileForm) -> tuple[bytes, str]:
    upload = form.cleaned_data["upload"]
    if upload is not None:
        if upload.size > 2 * 1024 * 1024:
            raise ReadError(f"The file has {upload.size / 1_048_576:.0f} MB; 2 MB is the most.")
        return upload.read(), upload.name[:200]
    text = form.cleaned_data["text"]
    if not text:
        raise ReadError("Choose a file.")
    return text.encode(), form.cleaned_data["file_name"]


def _rows(
    request: ClubRequest, form: LevelsFileForm, read: LevelsRead, data: bytes
) -> list[tuple[Feature, Measured, UUID]]:
    given = form.cleaned_data
    # A browser turns line ends about when it sends the text back; the file is the same one.
    mark = sha256(b"\n".join(data.removeprefix(b"\xef\xbb\xbf").split())).hexdigest()
    return [
        (
            row.feature,
            Measured(
                of=row.of, how=AsBuiltLevel.How.FILE, measured_on=given["measured_on"],
                level_m=row.level_m, chainage_m=row.chainage_m, place=row.place,
                level_accuracy_m=given["level_accuracy_m"],
                plan_accuracy_m=given["plan_accuracy_m"],
            ),
            uuid5(NAMESPACE_URL, f"{request.club.slug}:{mark}:{row.line}"),
        )
        for row in read.rows
    ]  # fmt: skip


def _registered(request: ClubRequest) -> tuple[RegisterForm, list[RegisterRow]]:
    form = RegisterForm(request.GET)
    wanted = form.cleaned_data if form.is_valid() else {}
    return form, register_of(request.club, **wanted)


@require_GET
@club_page("drainage.read")
def register(request: ClubRequest) -> HttpResponse:
    form, rows = _registered(request)
    return render(
        request,
        "drainage/register.html",
        {
            "sheet_name": "Register of drains",
            "form": form,
            "rows": rows,
            "length_m": sum(row.length_m or 0.0 for row in rows),
            "asked": request.GET.urlencode(),
        },
    )


def _download(data: bytes | str, kind: str, name: str) -> HttpResponse:
    return HttpResponse(
        data, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


REGISTER_HEAD = (
    *("reference", "name", "kind", "state", "holes", "length (m)", "size", "material"),
    *("upper invert (m)", "lower invert (m)", "levels from", "least depth (m)"),
    *("greatest depth (m)", "dated", "who", "accuracy", "source", "photos"),
)


@require_GET
@club_page("drainage.read")
def register_csv(request: ClubRequest) -> HttpResponse:
    _, rows = _registered(request)
    cells = []
    for row in rows:
        depth = row.depth or (None, None)
        cells.append([
            row.feature.ref, row.feature.name, row.feature.kind, row.feature.get_state_display(),
            row.holes, _places(row.length_m, 1), row.size, row.material,
            _places(row.upstream_m, 3), _places(row.downstream_m, 3), row.levels_from,
            _places(depth[0], 2), _places(depth[1], 2), row.dated, row.who, row.accuracy,
            row.source, row.photos,
        ])  # fmt: skip
    return csv_answer(f"{request.club.slug}-register-of-drains", REGISTER_HEAD, cells)


def _places(value: float | None, places: int) -> str:
    return "" if value is None else f"{value:.{places}f}"


def _file(request: ClubRequest, data: bytes | str, kind: str, ending: str) -> HttpResponse:
    if not data:
        messages.warning(request, "No drain is drawn yet, so there is nothing to write to a file.")
        return redirect("drainage:register", request.club.slug)
    return _download(data, kind, f"{request.club.slug}-drains.{ending}")


@require_GET
@club_page("drainage.read")
def as_geopackage(request: ClubRequest) -> HttpResponse:
    data = exchange.network_geopackage(request.club)
    return _file(request, data, "application/geopackage+sqlite3", "gpkg")


@require_GET
@club_page("drainage.read")
def as_dxf(request: ClubRequest) -> HttpResponse:
    return _file(request, exchange.network_dxf(request.club), "image/vnd.dxf", "dxf")


@require_GET
@club_page("drainage.read")
def as_csv(request: ClubRequest) -> HttpResponse:
    return _file(request, exchange.network_csv(request.club), "text/csv; charset=utf-8", "csv")
