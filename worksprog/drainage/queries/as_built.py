"""Reads of what was built: levels beside the design, falls between them, the register of drains."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from worksprog.calc.as_built import (
    BuiltCapacity,
    BuiltLevel,
    DesignLine,
    Difference,
    Stretch,
    built_capacity,
    difference_from,
    ends_of,
    missing_levels,
    stretches_between,
)
from worksprog.calc.network import NetworkCheck
from worksprog.calc.taken_again import Taking, taken_again
from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, Feature, Kind, Source, State
from worksprog.course.queries import holes_of_features, live_ground
from worksprog.drainage import bridge_as_built as bridge
from worksprog.drainage.models import AsBuiltFacts, AsBuiltLevel, DrainNode, DrainReach

Of = AsBuiltLevel.Of


@dataclass(frozen=True)
class LevelLine:
    """One level as taken, with the invert it gives and how that lies by the design.

    built       None for a cover, for a crown without a bore, and at a chamber
    difference  None where the design has no level to set it against
    again       the later level at this place, which stands for it
    unlike      words where that one is another person's and the two do not agree
    """

    row: AsBuiltLevel
    built: BuiltLevel | None
    difference: Difference | None
    corrected_by: AsBuiltLevel | None
    invert_m: float | None
    remark: str = ""
    again: AsBuiltLevel | None = None
    unlike: str = ""

    @property
    def counts(self) -> bool:
        return self.corrected_by is None and self.again is None


@dataclass(frozen=True)
class StretchLine:
    stretch: Stretch
    capacity: BuiltCapacity


@dataclass(frozen=True)
class ReachAsBuilt:
    """All that was taken on one drain. ``facts`` is the newest row of them."""

    feature: Feature
    design: DesignLine | None
    facts: AsBuiltFacts | None
    lines: tuple[LevelLine, ...]
    stretches: tuple[StretchLine, ...]

    @cached_property
    def levels(self) -> tuple[BuiltLevel, ...]:
        found = [one.built for one in self.lines if one.counts and one.built is not None]
        return tuple(sorted(found, key=lambda one: one.chainage_m))

    @property
    def missing(self) -> list[str]:
        return [] if self.design is None else missing_levels(self.levels, self.design.length_m)

    @property
    def backfalls(self) -> list[Stretch]:
        return [one.stretch for one in self.stretches if one.stretch.backfall == "yes"]

    @property
    def untold(self) -> list[Stretch]:
        """Stretches of which the levels cannot tell whether they fall."""
        return [one.stretch for one in self.stretches if one.stretch.backfall in ("maybe", "flat")]

    @property
    def against_closing(self) -> list[str]:
        return [*(stretch.words for stretch in self.backfalls), *self.missing]

    @property
    def too_small(self) -> list[StretchLine]:
        return [one for one in self.stretches if one.capacity.carries == "too_small"]

    @property
    def off_design(self) -> list[LevelLine]:
        """Levels that differ from the design beyond their accuracy, worst first."""
        found = [
            one
            for one in self.lines
            if one.counts and one.difference is not None and one.difference.is_certain
        ]
        return sorted(found, key=lambda one: -abs(one.difference.difference_m))  # type: ignore[union-attr]

    @property
    def put_right(self) -> list[LevelLine]:
        """Levels that a later one corrects."""
        return [one for one in self.lines if one.corrected_by is not None]

    @property
    def unlike(self) -> list[LevelLine]:
        """Levels that two people took at one place and that do not agree."""
        return [one for one in self.lines if one.unlike]

    @property
    def out_of_line(self) -> list[BuiltLevel]:
        return [level for level in self.levels if level.out_of_line]

    @property
    def differs(self) -> bool:
        found = (self.backfalls, self.off_design, self.out_of_line, self.too_small, self.unlike)
        return any(found)

    @property
    def ends(self) -> tuple[float | None, float | None]:
        return (None, None) if self.design is None else ends_of(self.levels, self.design.length_m)

    @property
    def closed(self) -> bool:
        return self.facts is not None and self.facts.backfilled_on is not None


def levelled_nodes(club: Club) -> list[DrainNode]:
    """Chambers, headwalls and outfalls with an invert. One query."""
    rows = DrainNode.objects.filter(club=club, invert_level_m__isnull=False)
    return list(rows.exclude(feature__state=State.REMOVED).select_related("feature"))


def design_line_of(feature: Feature, nodes: Iterable[DrainNode]) -> DesignLine | None:
    """A pipe or ditch as drawn; None for what has no line."""
    if feature.kind not in DRAIN_LINES or not feature.length_m > 0:
        return None
    return bridge.design_line(feature, getattr(feature, "reach", None), nodes)


def _rows_of(features: dict[int, Feature], club: Club) -> dict[int, list[AsBuiltLevel]]:
    found: dict[int, list[AsBuiltLevel]] = defaultdict(list)
    rows = AsBuiltLevel.objects.filter(club=club, feature__in=features.keys())
    for row in rows.select_related("kept_by", "survey").order_by("id"):
        found[row.feature_id].append(row)
    return found


def _facts_of(club: Club, keys: Iterable[int]) -> dict[int, AsBuiltFacts]:
    """The newest row of each feature."""
    rows = AsBuiltFacts.objects.filter(club=club, feature__in=list(keys)).order_by("id")
    return {row.feature_id: row for row in rows}


def _line(
    row: AsBuiltLevel,
    feature: Feature,
    design: DesignLine | None,
    facts: AsBuiltFacts | None,
    corrected_by: AsBuiltLevel | None,
) -> LevelLine:
    if design is None:
        node: DrainNode | None = getattr(feature, "node", None)
        drawn = None
        if node is not None:
            drawn = node.cover_level_m if row.of == Of.COVER else node.invert_level_m
        difference = None
        if drawn is not None:
            level = BuiltLevel(str(row.uuid), 0.0, row.level_m, row.level_accuracy_m)
            difference = Difference(drawn, row.level_m - drawn, level.doubt_m)
        invert = row.level_m if row.of == Of.INVERT else None
        return LevelLine(row, None, difference, corrected_by, invert)
    reach: DrainReach | None = getattr(feature, "reach", None)
    built, remark = bridge.built_level(row, design, facts, reach)
    difference = None if built is None else difference_from(design, built)
    return LevelLine(
        row, built, difference, corrected_by, None if built is None else built.level_m, remark
    )


def _taking(
    row: AsBuiltLevel, built: BuiltLevel | None, difference: Difference | None,
    design: DesignLine | None,
) -> Taking:  # fmt: skip
    """A level set against others: by the invert it gives, or as it was taken."""
    level = built or BuiltLevel("", 0.0, row.level_m, row.level_accuracy_m)
    if built is not None:
        place: tuple[float, ...] = (built.chainage_m,)
    elif design is not None:
        place = (design.locate(row.x_m, row.y_m).chainage_m,)
    else:
        place = (row.x_m, row.y_m)
    return Taking(
        kind=row.of,
        place=place,
        height_m=level.level_m if difference is None else difference.difference_m,
        doubt_m=level.doubt_m,
        by=f"file {row.file_name}" if row.file_name else f"person {row.kept_by_id}",
        batch=row.file_name,
    )


def _unlike_words(earlier: LevelLine, later: LevelLine, apart_m: float) -> str:
    at = later.row.chainage_m if later.built is None else later.built.chainage_m
    where = "" if at is None else f" at chainage {at:.1f}".removesuffix(".0")
    said = " and ".join(
        f"{one.row.level_m:.3f} m "
        + (f"in {one.row.file_name}" if one.row.file_name else f"by {_who(one.row)}")
        for one in (earlier, later)
    )
    return (
        f"two people's levels{where} do not agree: {said}, {abs(apart_m) * 1000:.0f} mm apart, more "
        "than both are good to. The later stands until one is corrected; take it again"
    )


def _who(row: AsBuiltLevel) -> str:
    return "somebody" if row.kept_by is None else str(row.kept_by.initialled)


def _with_the_latest(lines: list[LevelLine], design: DesignLine | None) -> list[LevelLine]:
    """Where several of a kind stand at one place, the latest taken holds."""
    counted = sorted(
        (one for one in lines if one.counts), key=lambda one: (one.row.measured_on, one.row.pk)
    )
    takings = [_taking(one.row, one.built, one.difference, design) for one in counted]
    again = {}
    for told in taken_again(takings):
        earlier, later = counted[told.earlier], counted[told.later]
        words = _unlike_words(earlier, later, told.apart_m) if told.unlike else ""
        again[earlier.row.pk] = replace(earlier, again=later.row, unlike=words)
    return [again.get(one.row.pk, one) for one in lines]


def _gathered(
    feature: Feature,
    rows: list[AsBuiltLevel],
    facts: AsBuiltFacts | None,
    nodes: Iterable[DrainNode],
    flow_m3s: float | None,
) -> ReachAsBuilt:
    design = design_line_of(feature, nodes)
    corrections = {row.corrects_id: row for row in rows if row.corrects_id is not None}
    lines = [_line(row, feature, design, facts, corrections.get(row.pk)) for row in rows]
    lines = _with_the_latest(lines, design)
    if design is not None:
        chainages = {
            one.row.pk: design.locate(one.row.x_m, one.row.y_m).chainage_m for one in lines
        }
        lines.sort(key=lambda one: (chainages[one.row.pk], one.row.pk))
    section = bridge.built_section(getattr(feature, "reach", None), facts, feature.kind)
    # Of two levels at one place the one taken last holds.
    counted = sorted((one for one in lines if one.counts and one.built), key=lambda one: one.row.pk)
    stretches = stretches_between(one.built for one in counted if one.built is not None)
    return ReachAsBuilt(
        feature=feature,
        design=design,
        facts=facts,
        lines=tuple(lines),
        stretches=tuple(
            StretchLine(one, built_capacity(one, section, flow_m3s)) for one in stretches
        ),
    )


def _moved_elsewhere(rows: list[AsBuiltLevel], club: Club) -> dict[int, AsBuiltLevel]:
    """Corrections that put a level on another drain. One query."""
    keys = [row.pk for row in rows]
    found = AsBuiltLevel.objects.filter(club=club, corrects__in=keys)
    return {row.corrects_id: row for row in found.select_related("feature") if row.corrects_id}


def as_built_of(feature: Feature, *, flow_m3s: float | None = None) -> ReachAsBuilt:
    """All that was taken on one drain, set against its design; four queries.

    flow_m3s  the design flow, for the re-check of what the built fall carries
    """
    club = feature.club
    rows = _rows_of({feature.pk: feature}, club)[feature.pk]
    facts = _facts_of(club, [feature.pk]).get(feature.pk)
    found = _gathered(feature, rows, facts, levelled_nodes(club), flow_m3s)
    elsewhere = _moved_elsewhere(rows, club)
    if all(line.corrected_by or line.row.pk not in elsewhere for line in found.lines):
        return found
    gone = {key for key, row in elsewhere.items() if row.feature_id != feature.pk}
    staying = _gathered(
        feature, [row for row in rows if row.pk not in gone], facts, levelled_nodes(club), flow_m3s
    )
    struck = tuple(
        LevelLine(line.row, None, None, elsewhere[line.row.pk], None)
        for line in found.lines
        if line.row.pk in gone
    )
    return ReachAsBuilt(
        feature, staying.design, facts, (*staying.lines, *struck), staying.stretches
    )


def every_as_built(club: Club, check: NetworkCheck | None = None) -> list[ReachAsBuilt]:
    """Every drain with its levels and facts, by reference. Four queries, whatever the club has."""
    features = _drains(club)
    by_key = {feature.pk: feature for feature in features}
    rows = _rows_of(by_key, club)
    moved = {
        row.corrects_id
        for kept in rows.values()
        for row in kept
        if row.corrects_id is not None
        and row.corrects_id not in {other.pk for other in rows[row.feature_id]}
    }
    facts = _facts_of(club, by_key)
    nodes = levelled_nodes(club)
    flows = {} if check is None else {one.key: one.flow_m3s for one in check.reaches}
    return [
        _gathered(
            feature,
            [row for row in rows.get(feature.pk, []) if row.pk not in moved],
            facts.get(feature.pk),
            nodes,
            flows.get(str(feature.uuid)),
        )
        for feature in features
    ]


def built_levels_of(
    club: Club, feature_ids: Iterable[int] | None = None
) -> dict[int, tuple[BuiltLevel, ...]]:
    """Built inverts of drains by the feature's key, along each line downstream; for drawings.

    Of all drains without ``feature_ids``. What was corrected is left out, and so is a drain on
    which nothing was taken. Two queries, one where nothing was.
    """
    return {key: levels for key, (_, levels) in _built(club, feature_ids).items()}


def _built(
    club: Club, feature_ids: Iterable[int] | None
) -> dict[int, tuple[DesignLine, tuple[BuiltLevel, ...]]]:
    rows = AsBuiltLevel.objects.filter(club=club, corrected_by__isnull=True).exclude(of=Of.COVER)
    if feature_ids is not None:
        rows = rows.filter(feature__in=list(feature_ids))
    by_feature: dict[int, list[AsBuiltLevel]] = defaultdict(list)
    for row in rows.select_related("feature__reach").order_by("id"):
        by_feature[row.feature_id].append(row)
    facts = _facts_of(club, by_feature) if by_feature else {}
    found = {}
    for key, kept in by_feature.items():
        feature = kept[0].feature
        design = design_line_of(feature, ())
        if design is None:
            continue
        reach = getattr(feature, "reach", None)
        kept.sort(key=lambda row: (row.measured_on, row.pk))
        levels = [
            (row, one)
            for row in kept
            if (one := bridge.built_level(row, design, facts.get(key), reach)[0]) is not None
        ]
        takings = [_taking(row, one, None, design) for row, one in levels]
        gone = {told.earlier for told in taken_again(takings)}
        counted = sorted(
            (one for n, (_, one) in enumerate(levels) if n not in gone),
            key=lambda one: one.chainage_m,
        )
        if counted:
            found[key] = (design, tuple(counted))
    return found


def built_ends_of(club: Club) -> dict[int, tuple[float, float]]:
    """Built inverts at the upper and lower end, of drains that have both. At most two queries."""
    found = {}
    for key, (design, levels) in _built(club, None).items():
        upper, lower = ends_of(levels, design.length_m)
        if upper is not None and lower is not None:
            found[key] = (upper, lower)
    return found


def _drains(club: Club) -> list[Feature]:
    rows = Feature.objects.filter(club=club, kind__in=DRAIN_LINES | DRAIN_NODES)
    return list(
        rows.exclude(state=State.REMOVED)
        .select_related("reach", "node", "survey")
        .order_by("kind", "ref", "pk")
    )


@dataclass(frozen=True)
class RegisterRow:
    """One drain as the register lists it.

    levels_from  "as built", "design", "as entered" or ""
    depth        least and greatest depth (m) from the ground to the invert; a ditch's own depth
    """

    feature: Feature
    holes: str
    length_m: float | None
    size: str
    material: str
    upstream_m: float | None
    downstream_m: float | None
    levels_from: str
    depth: tuple[float, float] | None
    dated: str
    who: str
    accuracy: str
    source: str
    photos: int


def register_of(club: Club, *, kind: str = "", state: str = "", words: str = "",
                levels: str = "") -> list[RegisterRow]:  # fmt: skip
    """Every drain of the club, filtered; seven queries, whatever the club has."""
    ground = live_ground(club)
    holes = holes_of_features(club)
    found = []
    for one in every_as_built(club):
        feature = one.feature
        if (kind and feature.kind != kind) or (state and feature.state != state):
            continue
        text = f"{feature.ref} {feature.name}".lower()
        if words and words.lower() not in text:
            continue
        row = _register_row(one, holes.get(feature.pk, []), ground)
        if levels and levels != _levels_sort(row.levels_from):
            continue
        found.append(row)
    return found


def _levels_sort(levels_from: str) -> str:
    return {"as built": "built", "": "none"}.get(levels_from, "entered")


def _register_row(one: ReachAsBuilt, holes: list[int], ground: object) -> RegisterRow:
    feature, facts = one.feature, one.facts
    reach: DrainReach | None = getattr(feature, "reach", None)
    node: DrainNode | None = getattr(feature, "node", None)
    counted = [line for line in one.lines if line.counts]
    last = max(counted, key=lambda line: (line.row.measured_on, line.row.pk), default=None)
    upper, lower, levels_from = None, None, ""
    entered = "design" if feature.source == Source.DESIGN else "as entered"
    profile: list[tuple[float, float, float]] = []
    if one.design is not None:
        if one.levels:
            upper, lower = one.levels[0].level_m, one.levels[-1].level_m
            levels_from = "as built"
            profile = [
                (*one.design.place_at(min(level.chainage_m, one.design.length_m)), level.level_m)
                for level in one.levels
            ]
        elif one.design.upstream_m is not None or one.design.downstream_m is not None:
            upper, lower = one.design.upstream_m, one.design.downstream_m
            levels_from = entered
            steps = np.linspace(0.0, one.design.length_m, 9)
            profile = [
                (*one.design.place_at(float(at)), level)
                for at in steps
                if (level := one.design.level_at(float(at))) is not None
            ]
    else:
        built = next((line.invert_m for line in reversed(counted) if line.invert_m), None)
        drawn = None if node is None else node.invert_level_m
        upper = built if built is not None else drawn
        levels_from = "as built" if built is not None else (entered if drawn is not None else "")
        if upper is not None:
            profile = [(feature.geometry.x, feature.geometry.y, upper)]
    return RegisterRow(
        feature=feature,
        holes=", ".join(str(number) for number in holes),
        length_m=feature.length_m if feature.kind in DRAIN_LINES else None,
        size=_size_of(feature, reach, node, facts),
        material=(facts.material if facts and facts.material else "")
        or (reach.material if reach else ""),
        upstream_m=upper,
        downstream_m=lower,
        levels_from=levels_from,
        depth=(reach.depth_m, reach.depth_m)
        if reach is not None and feature.kind == Kind.DITCH and reach.depth_m is not None
        else _depths(profile, ground, node),
        dated=_dated(feature, facts, last),
        who=(facts.laid_by if facts and facts.laid_by else "")
        or (str(last.row.kept_by) if last and last.row.kept_by else "")
        or (feature.survey.surveyor if feature.survey else ""),
        accuracy=_accuracy(feature, last),
        source="measured on site" if last else feature.get_source_display(),
        photos=sum(bool(line.row.photo) for line in one.lines),
    )


def _size_of(
    feature: Feature, reach: DrainReach | None, node: DrainNode | None, facts: AsBuiltFacts | None
) -> str:
    if feature.kind == Kind.PIPE:
        bore = facts.inside_diameter_mm if facts and facts.inside_diameter_mm else None
        bore = bore or (reach.inside_diameter_mm if reach else None)
        return "" if bore is None else f"{bore:g} mm"
    if feature.kind == Kind.DITCH:
        if reach is None or reach.bottom_width_m is None or reach.depth_m is None:
            return ""
        return f"{reach.bottom_width_m:g} m bed, {reach.depth_m:g} m deep"
    return "" if node is None else node.size


def _depths(
    profile: list[tuple[float, float, float]], ground: object, node: DrainNode | None
) -> tuple[float, float] | None:
    if not profile:
        return None
    points = np.array(profile)
    if node is not None and node.cover_level_m is not None:
        depths = node.cover_level_m - points[:, 2]
    elif ground is not None:
        depths = ground.levels_at(points[:, 0], points[:, 1]) - points[:, 2]  # type: ignore[attr-defined]
    else:
        return None
    depths = depths[np.isfinite(depths)]
    return (float(depths.min()), float(depths.max())) if len(depths) else None


def _dated(feature: Feature, facts: AsBuiltFacts | None, last: LevelLine | None) -> str:
    day = facts.built_on if facts and facts.built_on else None
    if day is not None:
        return f"built {day.day} {day:%b %Y}"
    if last is not None:
        return f"measured {last.row.measured_on.day} {last.row.measured_on:%b %Y}"
    day = feature.state_date
    return "" if day is None else f"{feature.get_state_display()} {day.day} {day:%b %Y}"


def _accuracy(feature: Feature, last: LevelLine | None) -> str:
    if last is not None and last.row.level_accuracy_m is not None:
        return f"level ± {last.row.level_accuracy_m * 1000:.0f} mm"
    return "" if feature.accuracy_m is None else f"place ± {float(feature.accuracy_m):g} m"


def nearest_drain(features: list[Feature], x: float, y: float) -> tuple[Feature, float] | None:
    """The pipe or ditch nearest to a point, and how far it is."""
    lines = [feature for feature in features if feature.kind in DRAIN_LINES]
    if not lines:
        return None
    tree = shapely.STRtree([feature.geometry for feature in lines])
    index = int(tree.nearest(shapely.Point(x, y)))
    return lines[index], float(lines[index].geometry.distance(shapely.Point(x, y)))
