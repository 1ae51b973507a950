"""Rows into the build-up's own terms: what features measure, what the book says, and back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from math import sqrt
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from worksprog.calc import build_up as calc
from worksprog.calc.ranges import ThreePoint
from worksprog.course.models import Feature, Kind
from worksprog.drainage.bridge import levels_of
from worksprog.drainage.models import DrainReach, LateralLayout
from worksprog.works.models import EstimateLine, LearntRate, OutputRate, Price, WorkKind

SAMPLES = 41  # points along a line at which its depth below ground is read

# Which features a kind of work is measured on; the first is what is usually drawn for it.
MEASURED_ON: dict[str, tuple[str, ...]] = {
    WorkKind.CARRIER_PIPE: (Kind.PIPE,),
    WorkKind.DITCH_DUG: (Kind.DITCH,),
    WorkKind.DITCH_REGRADED: (Kind.DITCH,),
    WorkKind.LATERALS: (Kind.LATERALS, Kind.PIPE),
    WorkKind.TEE_REBUILD: (Kind.TEE,),
    WorkKind.BUNKER_NEW: (Kind.BUNKER,),
    WorkKind.BUNKER_FILLED: (Kind.BUNKER,),
    WorkKind.PATH: (Kind.PATH,),
    WorkKind.TREE_THINNING: (Kind.TREE, Kind.WOOD),
    WorkKind.HEADWALL: (Kind.HEADWALL, Kind.OUTFALL),
    WorkKind.BRIDGE: (Kind.BRIDGE,),
    WorkKind.MOUNDING: (Kind.MOUND,),
    WorkKind.SEEDING: (Kind.FAIRWAY, Kind.GREEN, Kind.TEE, Kind.MOUND, Kind.WOOD, Kind.BUNKER),
    WorkKind.TURFING: (Kind.GREEN, Kind.TEE, Kind.FAIRWAY, Kind.BUNKER, Kind.MOUND),
}
# Features that belong to the work but give it no length or area of their own.
_BELONGS_TO: dict[str, tuple[str, ...]] = {
    WorkKind.CARRIER_PIPE: (Kind.CHAMBER, Kind.HEADWALL, Kind.OUTFALL),
    WorkKind.DITCH_DUG: (Kind.HEADWALL, Kind.OUTFALL),
    WorkKind.DITCH_REGRADED: (Kind.HEADWALL, Kind.OUTFALL),
}


def may_be_on(kind: str) -> tuple[str, ...]:
    """Kinds of feature that an item of this kind of work can be put on."""
    return (*MEASURED_ON[kind], *_BELONGS_TO.get(kind, ()))


# What of a reach the quantities go by; a change of one makes an estimate out of date.
REACH_FIGURES = (
    "upstream_invert_m",
    "downstream_invert_m",
    "inside_diameter_mm",
    "bottom_width_m",
    "side_slope",
    "depth_m",
)


# The same of an area's kept layout of laterals.
LAYOUT_FIGURES = ("spacing_m", "bore_mm", "joined", "mean_depth_m", "outline_version")


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
class _Depth:
    length_m: float
    mean_m: float
    variance_m2: float
    how: str


def _depth_of(feature: Feature, reach: DrainReach | None, ground: Levels | None) -> _Depth | None:
    """Depth of the invert below ground along a line, or None where levels do not tell it."""
    if reach is None:
        return None
    levels = levels_of(feature, reach)
    ends = (levels.upstream_m, levels.downstream_m)
    if ground is not None and None not in ends:
        share = np.linspace(0.0, 1.0, SAMPLES)
        points = [feature.geometry.interpolate(part, normalized=True) for part in share]
        level = np.asarray(
            ground.levels_at([point.x for point in points], [point.y for point in points])
        )
        assert ends[0] is not None and ends[1] is not None
        depth = level - (ends[0] + share * (ends[1] - ends[0]))
        known = depth[~np.isnan(depth)]
        if known.size >= SAMPLES / 2 and known.mean() > 0:
            how = "ground less invert along the line"
            if known.size < SAMPLES:
                how += f", ground known for {known.size / SAMPLES:.0%} of it"
            return _Depth(feature.length_m, float(known.mean()), float(known.var()), how)
    if reach.depth_m:
        return _Depth(feature.length_m, reach.depth_m, 0.0, "depth entered with its section")
    return None


class _Reader:
    """Gathers readings, so that every sum stands beside what it is a sum of."""

    def __init__(self, recipe: calc.Recipe) -> None:
        self.recipe = recipe
        self.readings: list[Reading] = []
        self.totals: dict[str, float] = {}
        self.told: dict[str, str] = {}

    def wants(self, name: str) -> bool:
        return any(measure.name == name for measure in self.recipe.measures)

    def read(self, feature: Feature, name: str, value: float, how: str) -> None:
        if not self.wants(name):
            return
        measure = self.recipe.measure(name)
        self.readings.append(
            Reading(str(feature.uuid), feature.title, name, measure.label, value, measure.unit, how)
        )

    def add_up(self, name: str, how: str) -> None:
        values = [reading.value for reading in self.readings if reading.name == name]
        if values:
            self.set_total(name, sum(values), how.format(n=len(values)))

    def set_total(self, name: str, value: float, how: str) -> None:
        self.totals[name] = value
        self.told[name] = f"measured: {how}"


def _features_word(count: int) -> str:
    return "1 feature" if count == 1 else f"{count} features"


def measure(
    recipe: calc.Recipe,
    features: Iterable[Feature],
    *,
    reaches: Mapping[int, DrainReach],
    ground: Levels | None,
    layouts: Mapping[int, LateralLayout] | None = None,
) -> Measured:
    """Read off the features what the recipe is measured by.

    An area with a layout of laterals kept for its present outline tells their length.
    Features of a kind the work is not measured on are left out of the sums; they still say where
    the work is. Lengths and areas are plane, in the club's grid.
    """
    kind = recipe.kind
    reader = _Reader(recipe)
    listed = list(features)
    counted = [feature for feature in listed if feature.kind in MEASURED_ON[kind]]
    depths: list[_Depth] = []
    for feature in counted:
        shape = feature.geometry.geom_type
        if shape == "LineString":
            reader.read(feature, "length_m", feature.length_m, "along the line, in the grid")
            if reader.wants("mean_depth_m"):
                depth = _depth_of(feature, reaches.get(feature.pk), ground)
                if depth is not None:
                    reader.read(feature, "mean_depth_m", depth.mean_m, depth.how)
                    depths.append(depth)
        if shape == "Polygon":
            layout = _present_layout(feature, layouts)
            if layout is not None:
                reader.read(feature, "length_m", layout.length_m, "drains of its layout")
            reader.read(feature, "area_m2", feature.area_m2, "inside the outline, in the grid")
        if kind == WorkKind.TREE_THINNING and feature.kind == Kind.TREE:
            # A wood's stems are those that stand, not those to fell: its area is what tells.
            reader.read(feature, "stems", float(feature.stems or 1), "counted")
        if kind in (WorkKind.HEADWALL, WorkKind.BRIDGE):
            reader.read(feature, "count", 1.0, "one feature, one structure")
    if kind == WorkKind.CARRIER_PIPE:
        for feature in listed:
            if feature.kind == Kind.CHAMBER:
                reader.read(feature, "chambers", 1.0, "one chamber")
    if kind == WorkKind.BRIDGE:
        spans = [feature.length_m for feature in counted]
        for feature in counted:
            reader.read(feature, "span_m", feature.length_m, "length of the line")
        if spans:
            reader.set_total("span_m", sum(spans) / len(spans), "mean of the bridges")
    for name in ("length_m", "area_m2", "stems", "count", "chambers"):
        count = sum(1 for reading in reader.readings if reading.name == name)
        reader.add_up(name, f"sum of {_features_word(count)}")
    _add_depth(reader, depths)
    parameters = _parameters_of(reader, kind, counted, reaches)
    parameters |= _laid_parameters(reader, kind, counted, layouts)
    return Measured(
        measures=reader.totals,
        parameters=parameters,
        told=reader.told,
        readings=tuple(reader.readings),
        versions={
            str(feature.uuid): mark_of(
                feature.version,
                *(getattr(reaches.get(feature.pk), name, None) for name in REACH_FIGURES),
                *(getattr((layouts or {}).get(feature.pk), name, None) for name in LAYOUT_FIGURES),
            )
            for feature in listed
        },
    )


def _add_depth(reader: _Reader, depths: Sequence[_Depth]) -> None:
    """Mean depth over all lines, and the even change of depth that gives the same volume.

    With A = (b + z d) d the volume depends on the mean of d and of d²; a depth changing evenly by
    D has variance D² / 12.
    """
    length = sum(depth.length_m for depth in depths)
    if not length:
        return
    mean = sum(depth.length_m * depth.mean_m for depth in depths) / length
    spread = sum(
        depth.length_m * (depth.variance_m2 + (depth.mean_m - mean) ** 2) for depth in depths
    )
    reader.set_total("mean_depth_m", mean, f"mean over {length:.1f} m, {depths[0].how}")
    if reader.wants("depth_change_m"):
        change = min(sqrt(12 * spread / length), 1.8 * mean)
        reader.set_total("depth_change_m", change, "the even change that gives the same volume")


def _parameters_of(
    reader: _Reader, kind: str, features: Sequence[Feature], reaches: Mapping[int, DrainReach]
) -> dict[str, float]:
    """Figures of design that the features carry: pipe size, ditch section, path width."""
    found: dict[str, float] = {}
    sections = [reaches[feature.pk] for feature in features if feature.pk in reaches]

    def take(name: str, values: list[float], how: str) -> None:
        parameter = reader.recipe.parameter(name)
        if not values:
            return
        value = sum(values) / len(values)
        if parameter.choices:
            value = min(parameter.choices, key=lambda choice: abs(choice - max(values)))
        if parameter.minimum <= value <= parameter.maximum:
            found[name] = value
            reader.told[name] = how

    if kind == WorkKind.CARRIER_PIPE:
        inside = [reach.inside_diameter_mm for reach in sections if reach.inside_diameter_mm]
        take("pipe_mm", inside, "nominal size nearest to the largest bore of its pipes")
    if kind in (WorkKind.DITCH_DUG, WorkKind.DITCH_REGRADED):
        bottoms = [reach.bottom_width_m for reach in sections if reach.bottom_width_m]
        slopes = [reach.side_slope for reach in sections if reach.side_slope is not None]
        take("bottom_m", bottoms, "mean of its ditches' sections")
        take("side_slope", slopes, "mean of its ditches' sections")
    if kind == WorkKind.PATH:
        widths = [float(feature.width_m) for feature in features if feature.width_m]
        take("width_m", widths, "mean of its paths' widths")
    return found


def _present_layout(
    feature: Feature, layouts: Mapping[int, LateralLayout] | None
) -> LateralLayout | None:
    layout = (layouts or {}).get(feature.pk)
    return layout if layout is not None and layout.outline_version == feature.version else None


def _laid_parameters(
    reader: _Reader,
    kind: str,
    features: Sequence[Feature],
    layouts: Mapping[int, LateralLayout] | None,
) -> dict[str, float]:
    """Bore, spacing and mean depth of the laterals, where every area has its layout."""
    laid = [_present_layout(feature, layouts) for feature in features]
    if kind != WorkKind.LATERALS or not laid:
        return {}
    known = [layout for layout in laid if layout is not None]
    if len(known) < len(laid):
        return {}
    length = sum(layout.length_m for layout in known)
    found: dict[str, float] = {}
    told: list[tuple[str, list[tuple[float, float | None]]]] = [
        ("spacing_m", [(layout.length_m, layout.spacing_m) for layout in known]),
        ("lateral_mm", [(layout.length_m, layout.bore_mm) for layout in known]),
        ("depth_m", [(layout.length_m, layout.mean_depth_m) for layout in known]),
    ]
    for name, values in told:
        parameter = reader.recipe.parameter(name)
        weighed = [share * value for share, value in values if value is not None]
        if not length or len(weighed) < len(values):
            continue
        value = sum(weighed) / length
        if parameter.choices:
            value = min(parameter.choices, key=lambda choice: abs(choice - value))
        if parameter.minimum <= value <= parameter.maximum:
            found[name] = value
            reader.told[name] = "of the layout, weighed by length"
    return found


def _money(row: Price) -> calc.MoneyRange:
    return calc.MoneyRange(row.low, row.likely, row.high)


def crew_rate_of(row: LearntRate) -> calc.CrewRate:
    """A learnt rate as the build-up takes it."""
    told = row.posterior
    return calc.CrewRate(row.factor_likely, told.get("narrowing", 1.0), told.get("words", "learnt"))


def book_of_rows(
    prices: Iterable[Price],
    rates: Iterable[OutputRate],
    learnt: Iterable[LearntRate] = (),
) -> calc.Book:
    """The club's rows as the build-up's price book, with the rates its crew's hours have taught."""

    def source(row: Price | OutputRate) -> str:
        text = f"{row.source or 'price book'}, {row.dated:%b %Y}"
        return text if row.is_confirmed else f"{text}, not confirmed"

    return calc.Book(
        prices={
            row.code: calc.Price(row.code, row.name, row.unit, _money(row), source(row))
            for row in prices
        },
        rates={
            row.code: calc.OutputRate(
                row.code,
                row.name,
                row.unit,
                ThreePoint(float(row.low), float(row.likely), float(row.high)),
                source(row),
            )
            for row in rates
        },
        crew={row.kind: crew_rate_of(row) for row in learnt},
    )


def line_to_row(line: calc.Line, row: EstimateLine, *, price: Price | None) -> EstimateLine:
    """Put a worked-out line into its row."""
    row.category = line.category.value
    row.step = line.key
    row.description = line.description
    row.price = price
    row.unit = line.unit
    row.quantity_low, row.quantity_likely, row.quantity_high = (
        line.quantity.low,
        line.quantity.likely,
        line.quantity.high,
    )
    measured = line.measured or line.quantity
    row.measured_low, row.measured_likely, row.measured_high = (
        measured.low,
        measured.likely,
        measured.high,
    )
    row.measured_unit = line.measured_unit or line.unit
    output = line.output
    row.output_code = output.code if output else ""
    row.output_low = output.per_hour.low if output else None
    row.output_likely = output.per_hour.likely if output else None
    row.output_high = output.per_hour.high if output else None
    row.rate_low, row.rate_likely, row.rate_high = (
        line.unit_price.low,
        line.unit_price.likely,
        line.unit_price.high,
    )
    row.amount_low, row.amount_likely, row.amount_high = (
        line.amount.low,
        line.amount.likely,
        line.amount.high,
    )
    row.working = line.working.as_rows()
    return row


def row_to_line(row: EstimateLine) -> calc.Line:
    """A row as the build-up knows it, its amounts worked out anew from quantity and price."""
    output = None
    if row.output_low is not None and row.output_likely is not None and row.output_high is not None:
        per_hour = ThreePoint(row.output_low, row.output_likely, row.output_high)
        output = calc.OutputRate(row.output_code, row.output_code, row.measured_unit, per_hour, "")
    return calc.price_line(
        key=row.step,
        category=calc.Category(row.category),
        description=row.description,
        quantity=ThreePoint(row.quantity_low, row.quantity_likely, row.quantity_high),
        unit=row.unit,
        unit_price=calc.MoneyRange(
            Decimal(row.rate_low), Decimal(row.rate_likely), Decimal(row.rate_high)
        ),
        measured=ThreePoint(row.measured_low, row.measured_likely, row.measured_high)
        if row.measured_unit
        else None,
        measured_unit=row.measured_unit,
        output=output,
    )
