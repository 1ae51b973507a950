"""Levels and sizes of drains that come with a file of features, kept with the features."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import shapely
from django.core.exceptions import ValidationError

from worksprog.clubs.models import User
from worksprog.clubs.records import save_records
from worksprog.course.brought import Brought
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, Kind
from worksprog.course.reading.features import FeatureRow, FeaturesRead
from worksprog.course.reading.results import Refusal, many
from worksprog.drainage.exchange import LEVELS_LAYER, WORDS_LAYER, with_words
from worksprog.drainage.models import DrainNode, DrainReach
from worksprog.drainage.services.network import check_node, check_reach

REACH_ENDS = ("upstream_invert_m", "downstream_invert_m")
NODE_LEVELS = ("cover_level_m", "invert_level_m")
PIPE_SIZES = ("inside_diameter_mm", "ks_mm")
DITCH_SIZES = ("bottom_width_m", "side_slope", "depth_m", "freeboard_m", "manning_n")


def _figures(told: Mapping[str, str], names: tuple[str, ...]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in names:
        text = told.get(name, "").strip()
        if not text:
            continue
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise ValidationError({name: f"“{text[:30]}” is no number; a point is the decimal."})
        found[name] = value
    return found


def reach_from(row: FeatureRow) -> DrainReach | None:
    """Levels and section a line brings; None where it brings none. ValidationError in words."""
    sizes = PIPE_SIZES if row.kind == Kind.PIPE else DITCH_SIZES
    figures = _figures(row.told, (*REACH_ENDS, *sizes))
    ends = [figures.get(name) for name in REACH_ENDS]
    if row.is_part:
        # The columns speak of the whole line; a part has only what its own points tell.
        along = row.levels if None not in ends else ()
        own = zip(REACH_ENDS, (along[0], along[-1]) if along else (None, None), strict=True)
        figures |= dict(own)
    figures = {name: value for name, value in figures.items() if value is not None}
    material = row.told.get("material", "")
    if not figures and not material:
        return None
    reach = DrainReach(material=material, **figures)
    (reach.began_x_m, reach.began_y_m), (reach.ended_x_m, reach.ended_y_m) = (
        shapely.get_coordinates(row.geometry)[[0, -1]].tolist()
    )
    check_reach(reach, row.kind, exclude=("club", "feature"))
    return reach


def node_from(row: FeatureRow) -> DrainNode | None:
    """Levels a chamber, headwall or outfall brings; None where it brings none."""
    figures = _figures(row.told, NODE_LEVELS)
    if not figures:
        return None
    node = DrainNode(**figures)
    check_node(node)
    node.full_clean(exclude=("club", "feature"), validate_unique=False, validate_constraints=False)
    return node


def _words(error: ValidationError) -> str:
    if not hasattr(error, "error_dict"):
        return " ".join(error.messages)
    return " ".join(
        f"{field}: {' '.join(told)}" if field != "__all__" else " ".join(told)
        for field, told in error.message_dict.items()
    )


@dataclass(frozen=True)
class DrainKeeper:
    layers: frozenset[str] = frozenset({LEVELS_LAYER, WORDS_LAYER})

    def look(self, read: FeaturesRead) -> Brought:
        """What of the figures in the file can be kept, and why the rest is refused."""
        accepted: list[FeatureRow] = []
        refusals: list[Refusal] = []
        found: dict[str, DrainReach | DrainNode] = {}
        for row in with_words(read):
            told: DrainReach | DrainNode | None = None
            try:
                if row.kind in DRAIN_LINES:
                    told = reach_from(row)
                elif row.kind in DRAIN_NODES:
                    told = node_from(row)
            except ValidationError as error:
                refusals.append(Refusal(row.row, _words(error)))
                continue
            accepted.append(row)
            if told is not None:
                found[row.row] = told

        def save(features: Mapping[str, Feature], by: User | None, label: str) -> None:
            for model, words in ((DrainReach, "drain"), (DrainNode, "chamber and outfall")):
                rows = [(features[key], one) for key, one in found.items() if type(one) is model]
                for feature, one in rows:
                    one.club, one.feature = feature.club, feature
                save_records(
                    [one for _, one in rows], by=by,
                    label=f"levels and sizes of {many(len(rows), words)} from {label}",
                )  # fmt: skip

        return Brought(
            tuple(accepted), tuple(refusals), _notices(read, found),
            frozenset(key for key, one in found.items() if _has_levels(one)), save,
        )  # fmt: skip


def _has_levels(row: DrainReach | DrainNode) -> bool:
    names = REACH_ENDS if isinstance(row, DrainReach) else NODE_LEVELS
    return any(getattr(row, name) is not None for name in names)


def _notices(
    read: FeaturesRead, found: Mapping[str, DrainReach | DrainNode]
) -> tuple[str, ...]:  # fmt: skip
    notices = []
    reaches = [row for row in found.values() if isinstance(row, DrainReach)]
    nodes = [row for row in found.values() if isinstance(row, DrainNode)]
    if reaches:
        levelled = sum(_has_levels(row) for row in reaches)
        notices.append(
            f"{many(len(reaches), 'pipe or ditch', 'pipes and ditches')} "
            f"bring{'s' if len(reaches) == 1 else ''} sizes, {levelled:,} of them inverts too; "
            "they are kept with the shapes."
        )
    if nodes:
        notices.append(
            f"{many(len(nodes), 'chamber or outfall', 'chambers and outfalls')} "
            f"bring{'s' if len(nodes) == 1 else ''} levels; they are kept with the shapes."
        )
    built = sum(row.layer == LEVELS_LAYER for row in read.beside)
    if built:
        notices.append(
            f"Levels taken on site stand in the file too ({built:,}); they are not brought in "
            "here. Bring them in as a surveyor's file of built levels."
        )
    return tuple(notices)
