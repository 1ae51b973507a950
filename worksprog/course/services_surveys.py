"""Survey files brought in: read, looked at, accepted whole or not at all; and the ground they give."""

from __future__ import annotations

import contextlib
import io
import math
import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from hashlib import sha256
from pathlib import Path, PurePosixPath
from typing import Any
from uuid import UUID, uuid4

import numpy as np
import shapely
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import transaction
from PIL import Image

from worksprog.calc import grid
from worksprog.calc import ground as calc_ground
from worksprog.clubs.models import Club, User
from worksprog.clubs.records import delete_record, save_record, save_records, set_links
from worksprog.course.bridge import grid_of, pack_points, points_of
from worksprog.course.brought import keepers, layers_beside
from worksprog.course.models import (
    SHAPES,
    Feature,
    GroundModel,
    ImportDraft,
    Kind,
    LayerMapping,
    Source,
    State,
    Survey,
)
from worksprog.course.reading import files
from worksprog.course.reading.features import FeaturesRead, ShapeKey, read_features, shape_key
from worksprog.course.reading.ground_grid import GridRead, read_ground_grid
from worksprog.course.reading.place import Box
from worksprog.course.reading.results import AxesSwapped, ReadError, Refusal, many
from worksprog.course.reading.spot_heights import SpotHeights, read_spot_heights
from worksprog.runs.models import Run
from worksprog.runs.services import request_run

Told = Callable[[float, str], None]
SaveBrought = Callable[[Mapping[str, Feature], User | None, str], None]
CONTOUR_STEPS_M = (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0)
MOST_CONTOUR_LEVELS = 40
REFUSALS_KEPT = 500


# --- files -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Preview:
    """What accepting a draft would save."""

    sort: str
    result: SpotHeights | FeaturesRead | GridRead
    count: int
    refusals: tuple[Refusal, ...]
    notices: tuple[str, ...]
    saves: tuple[SaveBrought, ...] = ()

    @property
    def mark(self) -> str:
        """Short mark of what was shown, to see whether the same is being accepted."""
        kinds: tuple[tuple[str, int], ...] = ()
        if isinstance(self.result, FeaturesRead):
            kinds = tuple(sorted(Counter(row.kind for row in self.result.accepted).items()))
        told = repr(
            (self.count, kinds, [(r.row, r.reason) for r in self.refusals], self.result.notices)
        )
        return sha256(told.encode()).hexdigest()[:16]


def course_box(club: Club) -> Box | None:
    """West, south, east, north in metres of what the club has already; None before that."""
    shapes: list[Any] = list(Feature.objects.filter(club=club).values_list("geometry", flat=True))
    boxes = [shapely.total_bounds(shapes)] if shapes else []
    newest = Survey.objects.filter(club=club, what=Survey.What.SPOT_HEIGHTS, count__gt=0).first()
    if newest is not None:
        xyz, _ = points_of(newest)
        boxes.append(np.concatenate([xyz[:, :2].min(axis=0), xyz[:, :2].max(axis=0)]))
    if not boxes:
        return None
    low, high = np.min(boxes, axis=0)[:2], np.max(boxes, axis=0)[2:]
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _known_shapes(club: Club) -> dict[ShapeKey, str]:
    rows = Feature.objects.filter(club=club).exclude(state=State.REMOVED)
    return {shape_key(row.kind, row.geometry): str(row) for row in rows}


def _stored(draft: ImportDraft) -> Path:
    return Path(default_storage.path(draft.stored_as))


def begin_import(
    *,
    club: Club,
    what: str,
    upload: File[bytes],
    name: str,
    surveyed_on: date,
    by: User | None,
    surveyor: str = "",
    level_accuracy_m: Decimal | None = None,
    plan_accuracy_m: Decimal | None = None,
) -> ImportDraft:
    """Take a file in and read it once, so that what cannot be used is told at once.

    Raises ReadError, and keeps nothing, for a file that cannot be used as a whole; a file whose
    axes are exchanged is kept as a draft, since one word from its owner mends it.
    """
    files.check_size(upload.size, settings.IMPORT_MAX_BYTES)
    file_name = PurePosixPath((upload.name or "").replace("\\", "/")).name or "file"
    stored_as = default_storage.save(f"imports/{uuid4()}", upload)
    draft = ImportDraft(
        club=club,
        what=what,
        name=name,
        surveyed_on=surveyed_on,
        surveyor=surveyor,
        level_accuracy_m=level_accuracy_m,
        plan_accuracy_m=plan_accuracy_m,
        file_name=file_name[-200:],
        stored_as=stored_as,
        uploaded_by=by,
    )
    try:
        with contextlib.suppress(AxesSwapped):
            preview(draft)
        return save_record(draft, by=by)
    except (ReadError, ValidationError):
        default_storage.delete(stored_as)
        raise


def preview(draft: ImportDraft) -> Preview:
    """Read the draft's file as it would be accepted now. Raises ReadError (AxesSwapped)."""
    path = _stored(draft)
    if not path.exists():
        raise ReadError("The uploaded file is gone; bring it again. Nothing was saved from it.")
    files.check_size(path.stat().st_size, settings.IMPORT_MAX_BYTES)
    sort = files.recognise(path)
    files.expect(sort, draft.what)
    near = course_box(draft.club)
    swap = bool(draft.options.get("swap_axes"))
    epsg = draft.club.epsg
    result: SpotHeights | FeaturesRead | GridRead
    refusals: tuple[Refusal, ...] = ()
    saves: tuple[SaveBrought, ...] = ()
    if draft.what == Survey.What.SPOT_HEIGHTS:
        result = read_spot_heights(path.read_bytes(), epsg=epsg, near=near, swap_axes=swap)
        count, refusals = len(result.xyz), result.refusals
    elif draft.what == Survey.What.FEATURES:
        kept = layer_kinds(draft.club)
        result = read_features(
            path,
            sort,
            kind_of=lambda layer: kept[layer][0] if layer in kept else guess_kind(layer),
            shapes=SHAPES,
            epsg=epsg,
            near=near,
            swap_axes=swap,
            known=_known_shapes(draft.club),
            beside=layers_beside(),
        )
        result, saves = _brought(result)
        count, refusals = len(result.accepted), result.refusals
    else:
        result = read_ground_grid(path, sort, epsg=epsg, near=near, keep=near)
        count = result.cells
    remark = files.name_told(draft.file_name, sort)
    notices = ((remark,) if remark else ()) + result.notices
    return Preview(str(sort), result, count, refusals, notices, saves)


def _brought(read: FeaturesRead) -> tuple[FeaturesRead, tuple[SaveBrought, ...]]:
    """The features with what the floors above keep of them, and what then saves that."""
    saves, levelled = [], set[str]()
    for keeper in keepers():
        brought = keeper.look(read)
        saves.append(brought.save)
        levelled |= brought.levelled
        read = replace(
            read,
            accepted=brought.accepted,
            refusals=(*read.refusals, *brought.refusals),
            notices=(*read.notices, *brought.notices),
        )
    flat = read.flat_notice(levelled)
    return replace(read, notices=(*read.notices, *((flat,) if flat else ()))), tuple(saves)


@transaction.atomic
def exchange_axes(*, draft: ImportDraft, exchanged: bool, by: User | None) -> ImportDraft:
    """Say that the file's first coordinate is the northing, or take that back."""
    draft.options = {**draft.options, "swap_axes": exchanged}
    return save_record(draft, by=by)


def layer_kinds(club: Club) -> dict[str, tuple[str, str]]:
    """Layer name to kind and state, as the club keeps them. One query."""
    rows = LayerMapping.objects.filter(club=club).values_list("layer", "kind", "state")
    return {layer: (kind, state) for layer, kind, state in rows}


def guess_kind(layer: str) -> str:
    """The kind a layer's name says by itself ("DITCHES" is ditch); "" when it says none."""
    words = re.findall(r"[a-z]+", layer.lower())
    names = {str(kind.value): str(kind.value) for kind in Kind} | {
        str(kind.label): str(kind.value) for kind in Kind
    }
    for word in words:
        for form in (word, word.removesuffix("s"), word.removesuffix("es")):
            if form in names:
                return names[form]
    return ""


@transaction.atomic
def keep_mapping(*, club: Club, mapping: Mapping[str, tuple[str, str]], by: User | None) -> None:
    """Keep which layer is which kind, in which state; "" leaves a layer out.

    Raises ValidationError for a kind or state that is none.
    """
    known = {row.layer: row for row in LayerMapping.objects.filter(club=club)}
    for layer, (kind, state) in mapping.items():
        row = known.get(layer) or LayerMapping(club=club, layer=layer)
        if row.pk is None or (row.kind, row.state) != (kind, state):
            row.kind, row.state = kind, state
            save_record(row, by=by)


def accept_import(*, draft: ImportDraft, by: User | None, mark: str | None = None) -> Survey:
    """Save everything the draft holds as a survey, in one transaction, and let the draft go.

    mark  the mark of the preview that was looked at: when what would be saved is no longer that,
          nothing is
    Raises ReadError, or ValidationError when there is nothing to save or the draft is gone.
    """
    seen = preview(draft)
    if mark is not None and mark != seen.mark:
        raise ValidationError(
            "What would be saved is no longer what you looked at. Nothing was saved; look again."
        )
    if not seen.count:
        raise ValidationError("There is nothing to save: every row was refused or left out.")
    survey = Survey(
        club=draft.club,
        name=draft.name,
        what=draft.what,
        surveyed_on=draft.surveyed_on,
        surveyor=draft.surveyor,
        level_accuracy_m=draft.level_accuracy_m,
        plan_accuracy_m=draft.plan_accuracy_m,
        file_name=draft.file_name,
        count=seen.count,
        imported_by=by,
        reading={
            "sort": seen.sort,
            "notices": list(seen.notices),
            "refused": len(seen.refusals),
            "refusals": [[r.row, r.reason] for r in seen.refusals[:REFUSALS_KEPT]],
        },
    )
    features: list[Feature] = []
    by_row: dict[str, Feature] = {}
    mapping: dict[str, tuple[str, str]] = {}
    if isinstance(seen.result, SpotHeights):
        survey.points = pack_points(seen.result.xyz, seen.result.codes)
    elif isinstance(seen.result, GridRead):
        survey.points = calc_ground.dump_ground(seen.result.ground)
    else:
        kept = layer_kinds(draft.club)
        mapping = {
            layer.name: kept.get(layer.name, (guess_kind(layer.name), State.EXISTING))
            for layer in seen.result.layers
        }
        features = [
            Feature(
                club=draft.club,
                kind=row.kind,
                ref=row.ref[:20],
                name=row.name[:120],
                state=mapping[row.layer][1],
                state_date=draft.surveyed_on,
                source=Source.SURVEYED,
                accuracy_m=draft.plan_accuracy_m,
                geometry=row.geometry,
            )
            for row in seen.result.accepted
        ]
        by_row = {
            row.row: feature for row, feature in zip(seen.result.accepted, features, strict=True)
        }
        for feature in features:
            feature.full_clean(
                exclude=["club", "survey"], validate_unique=False, validate_constraints=False
            )
    with transaction.atomic():
        held = ImportDraft.objects.select_for_update().filter(pk=draft.pk).first()
        if held is None:
            raise ValidationError("This file was accepted or discarded already.")
        save_record(survey, by=by)
        for feature in features:
            feature.survey = survey
        save_records(
            features, by=by, label=f"{many(len(features), 'feature')} from {draft.file_name}"
        )
        for save in seen.saves:
            save(by_row, by, draft.file_name)
        if mapping:
            keep_mapping(club=draft.club, mapping=mapping, by=by)
        _let_go(held, by=by)
    return survey


def discard_import(*, draft: ImportDraft, by: User | None) -> None:
    """Let a draft and its file go; nothing of it was ever saved."""
    with transaction.atomic():
        _let_go(draft, by=by)


def _let_go(draft: ImportDraft, *, by: User | None) -> None:
    stored_as = draft.stored_as
    delete_record(draft, by=by)
    transaction.on_commit(lambda: default_storage.delete(stored_as))


# --- the ground ------------------------------------------------------------------------------------


def suggested_step_m(lowest_m: float, highest_m: float) -> float:
    """The finest usual contour step that draws no more than forty levels."""
    for step in CONTOUR_STEPS_M:
        if (highest_m - lowest_m) / step <= MOST_CONTOUR_LEVELS:
            return step
    return CONTOUR_STEPS_M[-1]


def check_ground_surveys(surveys: Sequence[Survey]) -> None:
    """Raises ValidationError when no ground can be made of these surveys together."""
    if not surveys:
        raise ValidationError("Choose at least one survey with levels.")
    if any(not survey.has_levels for survey in surveys):
        raise ValidationError("A survey of features holds no levels to make ground of.")
    grids = [survey for survey in surveys if survey.what == Survey.What.GROUND_GRID]
    if grids and len(surveys) > 1:
        raise ValidationError(
            "A grid is a ground by itself: choose either one grid or any number of spot heights."
        )


def _ground_of(surveys: Sequence[Survey]) -> calc_ground.Ground:
    if surveys[0].what == Survey.What.GROUND_GRID:
        return grid_of(surveys[0])
    # Newest first: where two surveys levelled one place, the later one tells how it is now.
    newest_first = sorted(surveys, key=lambda one: (one.surveyed_on, one.pk), reverse=True)
    xyz = np.vstack([points_of(survey)[0] for survey in newest_first])
    _, first = np.unique(np.round(xyz[:, :2], 3), axis=0, return_index=True)
    return calc_ground.ground_from_spot_heights(xyz[np.sort(first)])


def contours_geojson(
    raster: calc_ground.GriddedGround, *, step_m: float, epsg: int
) -> dict[str, Any]:
    """Contours for the map; every fifth is marked as one to draw stronger."""
    drawn = calc_ground.contours(raster, step_m=step_m)
    shapes = grid.geojson_of([contour.line for contour in drawn], epsg)
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "geometry": shape,
                "properties": {
                    "level_m": contour.level_m,
                    "fifth": round(contour.level_m / step_m) % 5 == 0,
                },
            }
            for contour, shape in zip(drawn, shapes, strict=True)
        ],
    }


def shading_png(raster: calc_ground.GriddedGround, *, epsg: int) -> tuple[bytes, list[list[float]]]:
    """A picture of light and shade, clear where the ground is level or not known, and its bounds."""
    lit, bounds = calc_ground.shading_for_map(raster, epsg, most_pixels=400_000)
    level = math.sin(math.radians(45))
    darker = np.clip((level - lit) / level, 0, 1)
    lighter = np.clip((lit - level) / (1 - level), 0, 1) * 0.8
    opacity = np.nan_to_num(np.maximum(darker, lighter))
    # Few steps of opacity keep the picture small; the eye does not tell more on a slope.
    alpha = (np.round(opacity * 40) / 40 * 255).astype(np.uint8)
    grey = np.where(np.nan_to_num(lighter) > 0, 255, 20).astype(np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(np.dstack([grey, alpha])).save(buffer, "PNG", optimize=True)
    return buffer.getvalue(), [list(corner) for corner in bounds]


def build_ground(
    *,
    club: Club,
    surveys: Sequence[Survey],
    by: User | None,
    contour_step_m: float | None = None,
    uuid: UUID | None = None,
    tell: Told = lambda percent, words: None,
) -> GroundModel:
    """Make the club's ground of surveys with levels, with contours and shading for the map.

    contour_step_m  chosen by the relief when not given
    uuid            the new model's own: asked for twice, it is made once
    Raises ValidationError when the surveys make no ground.
    """
    if uuid is not None:
        made = GroundModel.objects.filter(club=club, uuid=uuid).first()
        if made is not None:
            return made
    check_ground_surveys(surveys)
    tell(5, "Reading the levels")
    is_grid = surveys[0].what == Survey.What.GROUND_GRID
    try:
        tell(20, "Laying out the ground")
        ground = _ground_of(surveys)
        raster = calc_ground.as_grid(ground)
        lowest = float(np.nanmin(raster.levels))
        highest = float(np.nanmax(raster.levels))
        step = contour_step_m or suggested_step_m(lowest, highest)
        tell(50, "Drawing the contours")
        contours = contours_geojson(raster, step_m=step, epsg=club.epsg)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    tell(70, "Shading the slopes")
    shading, bounds = shading_png(raster, epsg=club.epsg)
    tell(90, "Saving the ground")
    model = GroundModel(
        club=club,
        uuid=uuid or uuid4(),
        method=GroundModel.Method.GRID if is_grid else GroundModel.Method.TRIANGLES,
        made_by=by,
        data=calc_ground.dump_ground(ground),
        count=ground.count,
        lowest_m=lowest,
        highest_m=highest,
        contour_step_m=step,
        contours=contours,
        shading=shading,
        shading_bounds=bounds,
    )
    with transaction.atomic():
        save_record(model, by=by)
        set_links(model, "surveys", surveys, by=by)
    return model


def request_ground(
    *, club: Club, surveys: Sequence[Survey], by: User, contour_step_m: float | None = None
) -> Run:
    """Ask for the ground to be made by a worker. ValidationError as ``build_ground``."""
    check_ground_surveys(surveys)
    return request_run(
        club=club,
        kind="course.ground",
        inputs={
            "surveys": [str(survey.uuid) for survey in surveys],
            "contour_step_m": contour_step_m,
        },
        by=by,
    )


def draw_contours(*, model: GroundModel, step_m: float, by: User | None) -> GroundModel:
    """Draw the contours of a ground anew at another step. ValidationError for a step of no sense."""
    try:
        raster = calc_ground.as_grid(calc_ground.load_ground(bytes(model.data)))
        model.contours = contours_geojson(raster, step_m=step_m, epsg=model.club.epsg)
    except ValueError as error:
        raise ValidationError(str(error)) from error
    model.contour_step_m = step_m
    return save_record(model, by=by)
