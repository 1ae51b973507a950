"""What features tell of a job: lengths, areas, depths by stations, earth moved, stems, crossings.

A measure is read by its name, so that every recipe, a club's own too, is measured alike.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from math import sqrt
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
import shapely

from worksprog.calc import along_line, shaping
from worksprog.calc import build_up as calc
from worksprog.course.models import Feature, Kind
from worksprog.drainage.bridge import levels_of
from worksprog.drainage.models import DrainNode, DrainReach, LateralLayout

STATION_M = 1.0  # between two stations of a line
MOST_STATIONS = 400
CORNER_DEGREES = 20.0  # a fence that turns by more has a corner post
LARGE_STEM_CM = 38.0  # usual limit of training for smaller trees, common practice

# What of a reach the quantities go by; a change of one makes an estimate out of date.
REACH_FIGURES = (
    "upstream_invert_m",
    "downstream_invert_m",
    "inside_diameter_mm",
    "bottom_width_m",
    "side_slope",
    "depth_m",
)
# The same of an area's kept layout of laterals, and of a node.
LAYOUT_FIGURES = ("spacing_m", "bore_mm", "joined", "mean_depth_m", "outline_version")
NODE_FIGURES = ("invert_level_m",)

# Measures for which the ground has to be known.
_BY_GROUND = frozenset({"mean_depth_m", "fill_m3"})
# How much deeper than each a line is, by the name of the measure.
_DEEPER_THAN_M = {"deep_m": 1.5, "very_deep_m": 2.5}


def mark_of(version: int, *figures: float | None) -> str:
    """One word that changes when a feature's shape or its reach's figures do."""
    return "/".join([str(version), *("" if one is None else f"{one:g}" for one in figures)])


class Levels(Protocol):
    """A ground that knows its level; NaN where it does not."""

    def levels_at(self, x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[np.float64]: ...


@dataclass(frozen=True)
class Reading:
    """One figure that one feature tells."""

    feature: str  # uuid; "" for a sum over features
    title: str
    name: str
    label: str
    value: float
    unit: str
    how: str


@dataclass(frozen=True)
class Measured:
    """All that an item's features tell of its quantities."""

    measures: dict[str, float] = field(default_factory=dict)
    parameters: dict[str, float] = field(default_factory=dict)
    told: dict[str, str] = field(default_factory=dict)
    readings: tuple[Reading, ...] = ()
    versions: dict[str, str] = field(default_factory=dict)

    def as_rows(self) -> list[dict[str, Any]]:
        return [asdict(reading) for reading in self.readings]


@dataclass(frozen=True)
class Told:
    """The rows that stand behind features, by the feature's key."""

    reaches: dict[int, DrainReach] = field(default_factory=dict)
    layouts: dict[int, LateralLayout] = field(default_factory=dict)
    nodes: dict[int, DrainNode] = field(default_factory=dict)


@dataclass(frozen=True)
class Stations:
    """Depth to the invert along one line, at its stations."""

    chainage_m: npt.NDArray[np.float64]
    depth_m: npt.NDArray[np.float64]


def _ends_of(feature: Feature, reach: DrainReach | None) -> tuple[float, float] | None:
    if reach is None:
        return None
    levels = levels_of(feature, reach)
    if levels.upstream_m is None or levels.downstream_m is None:
        return None
    return levels.upstream_m, levels.downstream_m


def stations_of(
    features: Iterable[Feature], reaches: Mapping[int, DrainReach], ground: Levels | None
) -> dict[int, Stations]:
    """Ground less invert along every line that has both levels: the ground is asked once.

    A station at each corner of a line and at most 1 m between two; the invert falls evenly from
    end to end.
    """
    if ground is None:
        return {}
    lines: list[tuple[int, npt.NDArray[np.float64], npt.NDArray[np.float64], float, float]] = []
    for feature in features:
        ends = _ends_of(feature, reaches.get(feature.pk))
        if ends is None or feature.geometry.geom_type != "LineString":
            continue
        corners = shapely.get_coordinates(feature.geometry)
        at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
        if not at[-1] > 0:
            continue
        step = max(STATION_M, at[-1] / MOST_STATIONS)
        chainage = np.unique(np.concatenate([at, np.arange(0.0, at[-1], step)]))
        places = np.column_stack([np.interp(chainage, at, corners[:, k]) for k in (0, 1)])
        lines.append((feature.pk, chainage, places, *ends))
    if not lines:
        return {}
    every = np.concatenate([places for _, _, places, _, _ in lines])
    levels = np.asarray(ground.levels_at(every[:, 0], every[:, 1]))
    found, start = {}, 0
    for pk, chainage, places, first, last in lines:
        level = levels[start : start + len(places)]
        start += len(places)
        invert = first + chainage / chainage[-1] * (last - first)
        found[pk] = Stations(chainage, level - invert)
    return found


def wants_ground(recipe: calc.Recipe) -> bool:
    """Whether anything that the recipe is measured by needs the ground."""
    return any(measure.name in _BY_GROUND for measure in recipe.measures)


def moves_earth(recipe: calc.Recipe) -> bool:
    """Whether the work is measured by cut and fill against the ground."""
    return any(measure.name == "fill_m3" for measure in recipe.measures)


@dataclass(frozen=True)
class _Depth:
    length_m: float
    mean_m: float
    variance_m2: float
    how: str


class _Reader:
    """Gathers readings, so that every sum stands beside what it is a sum of."""

    def __init__(
        self,
        recipe: calc.Recipe,
        told: Told,
        ground: Levels | None,
        stations: Mapping[int, Stations],
        by_hand: Mapping[str, float],
        before: Levels | None,
    ) -> None:
        self.recipe, self.rows, self.ground = recipe, told, ground
        self.stations, self.by_hand, self.before = stations, by_hand, before
        self.wanted = {measure.name: measure for measure in recipe.measures}
        self.set_by = {parameter.name: parameter for parameter in recipe.parameters}
        self.along: dict[int, along_line.DepthAlong | None] = {}
        self.readings: list[Reading] = []
        self.totals: dict[str, float] = {}
        self.parameters: dict[str, float] = {}
        self.told: dict[str, str] = {}

    def wants(self, name: str) -> bool:
        return name in self.wanted

    def read(self, feature: Feature, name: str, value: float, how: str) -> None:
        if name not in self.wanted:
            return
        measure = self.wanted[name]
        self.readings.append(
            Reading(str(feature.uuid), feature.title, name, measure.label, value, measure.unit, how)
        )

    def note(self, feature: Feature, name: str, value: float | None, how: str) -> None:
        """A figure of design as one feature carries it, so that a change of it can be told."""
        parameter = self.set_by.get(name)
        if parameter is not None and value:
            self.readings.append(
                Reading(
                    str(feature.uuid),
                    feature.title,
                    name,
                    parameter.label,
                    float(value),
                    parameter.unit,
                    how,
                )
            )

    def of(self, name: str) -> list[float]:
        return [reading.value for reading in self.readings if reading.name == name]

    def add_up(self, name: str) -> None:
        values = self.of(name)
        if values:
            count = "1 feature" if len(values) == 1 else f"{len(values)} features"
            self.set_total(name, sum(values), f"sum of {count}")

    def set_total(self, name: str, value: float, how: str) -> None:
        self.totals[name] = value
        self.told[name] = f"measured: {how}"

    def figure(self, name: str) -> float:
        """A parameter as it will be used: set by hand, told by the features, or the usual one."""
        if name in self.by_hand:
            return self.by_hand[name]
        return self.parameters.get(name, self.set_by[name].usual.likely)

    def take(self, name: str, value: float | None, how: str) -> None:
        """A figure of design that the features carry; one out of bounds is left alone."""
        parameter = self.set_by.get(name)
        if parameter is None or value is None:
            return
        if parameter.choices:
            told = value
            value = min(parameter.choices, key=lambda choice: abs(choice - told))
        if parameter.minimum <= value <= parameter.maximum:
            self.parameters[name] = value
            self.told[name] = how


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None


def _present_layout(feature: Feature, rows: Told) -> LateralLayout | None:
    layout = rows.layouts.get(feature.pk)
    return layout if layout is not None and layout.outline_version == feature.version else None


def _read_shapes(reader: _Reader, counted: Sequence[Feature]) -> None:
    for feature in counted:
        reader.read(feature, "count", 1.0, "one feature, one piece")
        match feature.geometry.geom_type:
            case "LineString":
                reader.read(feature, "length_m", feature.length_m, "along the line, in the grid")
                reader.read(feature, "span_m", feature.length_m, "length of the line")
                if reader.wants("corners"):
                    reader.read(
                        feature, "corners", _corners(feature), "where it turns by 20° or more"
                    )
            case "Polygon":
                layout = _present_layout(feature, reader.rows)
                if layout is not None:
                    reader.read(feature, "length_m", layout.length_m, "drains of its layout")
                area = feature.area_m2
                reader.read(feature, "area_m2", area, "inside the outline, in the grid")
                rim = float(feature.geometry.exterior.length)
                reader.read(feature, "rim_m", rim, "round the outline, in the grid")
    for name in ("length_m", "area_m2", "rim_m", "count", "corners"):
        reader.add_up(name)
    spans = reader.of("span_m")
    if spans:
        reader.set_total("span_m", sum(spans) / len(spans), "mean of its lines")


def _corners(feature: Feature) -> float:
    points = shapely.get_coordinates(feature.geometry)
    along = np.diff(points, axis=0)
    heading = np.unwrap(np.arctan2(along[:, 1], along[:, 0]))
    return float((np.abs(np.diff(heading)) > np.radians(CORNER_DEGREES)).sum())


def _read_sections(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Figures of design that the features and their reaches carry."""
    sections = []
    for feature in counted:
        reader.note(feature, "width_m", _float(feature.width_m), "width entered")
        reach = reader.rows.reaches.get(feature.pk)
        if reach is not None:
            sections.append(reach)
    bores = [reach.inside_diameter_mm for reach in sections if reach.inside_diameter_mm]
    if bores:
        reader.take("pipe_mm", max(bores), "nominal size nearest to the largest bore of its pipes")
    ditches = "mean of its ditches' sections"
    reader.take(
        "bottom_m", _mean([one.bottom_width_m for one in sections if one.bottom_width_m]), ditches
    )
    slopes = [one.side_slope for one in sections if one.side_slope is not None]
    reader.take("side_slope", _mean(slopes), ditches)
    widths = [float(feature.width_m) for feature in counted if feature.width_m]
    reader.take("width_m", _mean(widths), "mean width of its features")


def _read_layouts(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Bore, spacing and mean depth of the laterals, where every area has its layout."""
    laid = [_present_layout(feature, reader.rows) for feature in counted]
    known = [layout for layout in laid if layout is not None]
    length = sum(layout.length_m for layout in known)
    if len(known) < len(laid) or not length:
        return
    for name, figure in (
        ("spacing_m", "spacing_m"), ("lateral_mm", "bore_mm"), ("depth_m", "mean_depth_m"),
    ):  # fmt: skip
        figures = [getattr(layout, figure) for layout in known]
        if None not in figures:
            value = sum(one.length_m * each for one, each in zip(known, figures, strict=True))
            reader.take(name, value / length, "of the layout, weighed by length")


def _depth_of(reader: _Reader, feature: Feature) -> _Depth | None:
    """Depth of the invert below ground along a line, or None where levels do not tell it."""
    reach, stations = reader.rows.reaches.get(feature.pk), reader.stations.get(feature.pk)
    if stations is not None:
        if feature.pk not in reader.along:
            found = along_line.depth_along(stations.chainage_m, stations.depth_m)
            reader.along[feature.pk] = found
        along = reader.along[feature.pk]
        if along is not None:
            how = f"ground less invert at {len(stations.chainage_m)} stations"
            if along.known < 1:
                how += f", ground known for {along.known:.0%} of it"
            if along.above_m > 0:
                how += f", invert above the ground over {along.above_m:.1f} m"
            variance = max(along.square_m2 - along.mean_m**2, 0.0)
            return _Depth(feature.length_m, along.mean_m, variance, how)
    if reach is not None and reach.depth_m:
        return _Depth(feature.length_m, reach.depth_m, 0.0, "depth entered with its section")
    return None


def _read_depths(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Mean depth over all lines, and the even change of depth that gives the same volume.

    With A = (b + z d) d the volume depends on the mean of d and of d²; a depth changing evenly by
    D has variance D² / 12.
    """
    if not reader.wants("mean_depth_m"):
        return
    depths: list[_Depth] = []
    for feature in counted:
        if feature.geometry.geom_type == "Point":
            _read_node_depth(reader, feature)
            continue
        depth = _depth_of(reader, feature)
        if depth is not None:
            reader.read(feature, "mean_depth_m", depth.mean_m, depth.how)
            depths.append(depth)
    length = sum(depth.length_m for depth in depths)
    if not length:
        mean = _mean(reader.of("mean_depth_m"))
        if mean is not None:
            reader.set_total("mean_depth_m", mean, "mean of its features")
        return
    mean = sum(depth.length_m * depth.mean_m for depth in depths) / length
    spread = sum(
        depth.length_m * (depth.variance_m2 + (depth.mean_m - mean) ** 2) for depth in depths
    )
    reader.set_total("mean_depth_m", mean, f"mean over {length:.1f} m, {depths[0].how}")
    if reader.wants("depth_change_m"):
        change = sqrt(12 * spread / length)
        reader.set_total("depth_change_m", change, "the even change that gives the same volume")


def _read_node_depth(reader: _Reader, feature: Feature) -> None:
    node = reader.rows.nodes.get(feature.pk)
    if node is None or node.invert_level_m is None:
        return
    level, how = node.cover_level_m, "cover level less invert"
    if level is None and reader.ground is not None:
        place = feature.geometry
        level = float(np.asarray(reader.ground.levels_at([place.x], [place.y]))[0])
        how = "ground less invert"
    if level is not None and level - node.invert_level_m > 0:
        reader.read(feature, "mean_depth_m", level - node.invert_level_m, how)


def _read_trench(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Width of the trench by pipe size and depth, weighed so that it gives the same dig."""
    if not reader.wants("trench_m"):
        return
    bore = reader.figure("pipe_mm")
    outside = bore / 1000 * reader.figure("outside_ratio")
    deeper = (outside - bore / 1000) / 2 + reader.figure("bed_m")
    faces: list[tuple[float, float]] = []
    for feature in counted:
        stations = reader.stations.get(feature.pk)
        depth = _depth_of(reader, feature)
        if stations is None or depth is None:
            continue
        width = along_line.mean_trench_width_m(
            stations.chainage_m, stations.depth_m,
            bore_mm=bore, outside_m=outside, deeper_by_m=deeper,
        )  # fmt: skip
        reader.read(feature, "trench_m", width, "by size and depth, EN 1610, weighed by depth")
        faces.append((width, depth.length_m * (depth.mean_m + deeper)))
    face = sum(each for _, each in faces)
    if face:
        width = sum(width * each for width, each in faces) / face
        reader.set_total("trench_m", width, "by size and depth, weighed by depth")


def _read_deep(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Length over which a trench lies deeper than where support and slower digging begin."""
    for name, than in _DEEPER_THAN_M.items():
        if not reader.wants(name):
            continue
        for feature in counted:
            stations, along = reader.stations.get(feature.pk), reader.along.get(feature.pk)
            if stations is None or along is None or along.deepest_m <= than:
                continue
            length = along_line.length_deeper_m(stations.chainage_m, stations.depth_m, than_m=than)
            if length:
                reader.read(feature, name, length, f"invert more than {than:g} m below the ground")
        reader.add_up(name)
        known = [reader.along.get(feature.pk) for feature in counted]
        if known and None not in known and name not in reader.totals:
            reader.set_total(name, 0.0, "at none of its stations")


def _read_earth(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Cut and fill of platforms and mounds against the ground; of built ones, between surveys."""
    if not reader.wants("fill_m3") or reader.ground is None or "mean_height_m" in reader.by_hand:
        return
    for feature in counted:
        if feature.geometry.geom_type != "Polygon":
            continue
        reader.note(feature, "crest_m", _float(feature.height_m), "height entered")
        try:
            moved = _shaped(reader, feature)
        except ValueError:
            # Where the ground is not known the recipe falls back on area and height.
            return
        how = "new surface less ground" if reader.before is None else "survey after less before"
        how += f", cells of {moved.cell_m:.2f} m, ± {moved.unsure_m3:.1f} m³"
        reader.read(feature, "fill_m3", moved.fill_m3, how)
        reader.read(feature, "cut_m3", moved.cut_m3, how)
    for name in ("fill_m3", "cut_m3"):
        reader.add_up(name)


def _shaped(reader: _Reader, feature: Feature) -> shaping.EarthMoved:
    assert reader.ground is not None
    if reader.before is not None:
        return shaping.between_grounds(
            outline=feature.geometry, before=reader.before, after=reader.ground
        )
    slope = reader.figure("batter")
    if "crest_m" in reader.set_by:
        return shaping.mound(
            outline=feature.geometry, ground=reader.ground,
            crest_m=float(feature.height_m or reader.figure("crest_m")), side_slope=slope,
        )  # fmt: skip
    return shaping.platform(
        outline=feature.geometry, ground=reader.ground,
        raised_m=reader.figure("raise_m"), side_slope=slope,
    )  # fmt: skip


def _read_trees(reader: _Reader, counted: Sequence[Feature]) -> None:
    """Stems counted, and their mean diameter and height weighed so that the volume is the same.

    A wood's stems are those that stand, not those to fell: its area is what tells.
    """
    known: list[tuple[float, float, float]] = []
    for feature in counted:
        stems = float(feature.stems or 1)
        if feature.kind == Kind.TREE:
            reader.read(feature, "stems", stems, "counted")
            if feature.diameter_cm is not None and float(feature.diameter_cm) >= LARGE_STEM_CM:
                reader.read(feature, "large_stems", stems, f"{LARGE_STEM_CM:g} cm or more")
        if feature.kind in (Kind.TREE, Kind.WOOD):
            reader.note(feature, "dbh_cm", _float(feature.diameter_cm), "at breast height")
            reader.note(feature, "tree_m", _float(feature.height_m), "height entered")
        if feature.diameter_cm and feature.height_m and feature.kind in (Kind.TREE, Kind.WOOD):
            known.append((stems, float(feature.diameter_cm), float(feature.height_m)))
    for name in ("stems", "large_stems"):
        reader.add_up(name)
    if reader.of("stems") and reader.wants("large_stems") and not reader.of("large_stems"):
        measured = [one for one in counted if one.kind == Kind.TREE and one.diameter_cm]
        if measured:
            reader.set_total("large_stems", 0.0, f"none is {LARGE_STEM_CM:g} cm or more")
    if not known:
        return
    count = sum(stems for stems, _, _ in known)
    height = sum(stems * tall for stems, _, tall in known) / count
    square = sum(stems * across**2 * tall for stems, across, tall in known) / (count * height)
    how = "of its stems, weighed so that their volume is the same"
    reader.take("dbh_cm", sqrt(square), f"diameter {how}")
    reader.take("tree_m", height, "mean height of its stems")


def _read_hedges(reader: _Reader, counted: Sequence[Feature]) -> None:
    for feature in counted:
        if feature.kind == Kind.HEDGE:
            reader.note(feature, "hedge_m", _float(feature.height_m), "height entered")
    heights = [float(one.height_m) for one in counted if one.kind == Kind.HEDGE and one.height_m]
    reader.take("hedge_m", _mean(heights), "mean height of its hedges")


def _read_belongings(reader: _Reader, listed: Sequence[Feature]) -> None:
    for name, kind in (("chambers", Kind.CHAMBER), ("headwalls", Kind.HEADWALL)):
        for feature in listed:
            if feature.kind == kind:
                reader.read(feature, name, 1.0, f"one {kind.label}")
        reader.add_up(name)


def _read_crossings(reader: _Reader, listed: Sequence[Feature]) -> None:
    """Where a buried service is crossed by the drains and paths of the job."""
    if not reader.wants("crossings"):
        return
    across = [
        feature for feature in listed
        if feature.kind in (Kind.PIPE, Kind.DITCH, Kind.PATH, Kind.LATERALS)
    ]  # fmt: skip
    for feature in listed:
        if feature.kind != Kind.SERVICE:
            continue
        if not across:
            reader.read(feature, "crossings", 1.0, "one place, for nothing drawn crosses it")
            continue
        met = sum(_times_met(feature, other) for other in across)
        if met:
            reader.read(feature, "crossings", met, "where its line is crossed")
    reader.add_up("crossings")


def _times_met(feature: Feature, other: Feature) -> float:
    shared = feature.geometry.intersection(other.geometry)
    return float(shapely.get_num_geometries(shared)) if not shared.is_empty else 0.0


# Each reads what it knows of; what the recipe does not ask for is left out.
_READERS: tuple[Callable[[_Reader, Sequence[Feature]], None], ...] = (
    _read_shapes,
    _read_sections,
    _read_layouts,
    _read_depths,
    _read_trench,
    _read_deep,
    _read_earth,
    _read_trees,
    _read_hedges,
)


def may_be_on(recipe: calc.Recipe) -> tuple[str, ...]:
    """Kinds of feature that an item of this kind of work can be put on."""
    return (*recipe.on, *recipe.beside)


def measure(
    recipe: calc.Recipe,
    features: Iterable[Feature],
    *,
    told: Told,
    ground: Levels | None,
    stations: Mapping[int, Stations] | None = None,
    by_hand: Mapping[str, float] | None = None,
    before: Levels | None = None,
) -> Measured:
    """Read off the features what the recipe is measured by.

    ``stations`` are those of many items read at once (``stations_of``). ``by_hand``: figures of
    design that the estimator set, which shape what is measured (a tee's height, a pipe's size).
    ``before``: the ground as surveyed before the work, where ``ground`` was surveyed after it; earth
    is then measured between the two.
    Features of a kind the work is not measured on are left out of the sums; they still say where
    the work is. Lengths and areas are plane, in the club's grid.
    """
    listed = list(features)
    if not wants_ground(recipe):
        ground = None
    if stations is None:
        stations = stations_of(listed, told.reaches, ground)
    reader = _Reader(recipe, told, ground, stations, by_hand or {}, before)
    counted = [feature for feature in listed if feature.kind in recipe.on]
    for read in _READERS:
        read(reader, counted)
    _read_belongings(reader, listed)
    _read_crossings(reader, listed)
    return Measured(
        measures=reader.totals,
        parameters=reader.parameters,
        told=reader.told,
        readings=tuple(reader.readings),
        versions={str(feature.uuid): _mark(feature, told) for feature in listed},
    )


def _mark(feature: Feature, told: Told) -> str:
    return mark_of(
        feature.version,
        *(getattr(told.reaches.get(feature.pk), name, None) for name in REACH_FIGURES),
        *(getattr(told.layouts.get(feature.pk), name, None) for name in LAYOUT_FIGURES),
        *(getattr(told.nodes.get(feature.pk), name, None) for name in NODE_FIGURES),
    )
