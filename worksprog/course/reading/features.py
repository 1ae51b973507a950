"""Features from GeoJSON, GeoPackage, zipped Shapefile and DXF, layer by layer."""

from __future__ import annotations

import re
import tempfile
import warnings
from collections import Counter
from collections.abc import Callable, Container, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError

from worksprog.calc import grid
from worksprog.course.reading import files
from worksprog.course.reading.files import MEGABYTE, Sort
from worksprog.course.reading.place import Box, check_place, far_ones, lies_near
from worksprog.course.reading.results import AxesSwapped, ReadError, Refusal, many

MOST_FEATURES = 100_000
MOST_JSON = 25 * MEGABYTE
LONGEST_NAME = 120
LONGEST_TEXT = 2000
_SYMBOL_M = 5.0  # an outline this small stands for a point: a chamber drawn as its cover
_PARTS = {
    "MultiPoint": "Point",
    "MultiLineString": "LineString",
    "MultiPolygon": "Polygon",
    "LinearRing": "LineString",
}
NO_SHAPE = (ValueError, TypeError, AttributeError, KeyError, IndexError, OverflowError)
_SHAPE_WORDS = {"Point": "a point", "LineString": "a line", "Polygon": "an area"}


@dataclass(frozen=True)
class Layer:
    """A layer as it stands in the file."""

    name: str
    count: int
    shapes: dict[str, int]
    grid_name: str


@dataclass(frozen=True, eq=False)
class FeatureRow:
    """One feature to be: shape in the club's grid, flat, and where it came from.

    levels  of its points, where the file gave any; told: the file's other columns, as text
    is_part one of several that a single shape of the file was made of
    """

    row: str
    layer: str
    kind: str
    geometry: Any
    name: str = ""
    ref: str = ""
    levels: tuple[float, ...] = ()
    told: Mapping[str, str] = field(default_factory=dict)
    is_part: bool = False


@dataclass(frozen=True, eq=False)
class FeaturesRead:
    """beside: what stood on layers that hold no features but figures of them."""

    accepted: tuple[FeatureRow, ...]
    refusals: tuple[Refusal, ...]
    notices: tuple[str, ...]
    layers: tuple[Layer, ...]
    beside: tuple[FeatureRow, ...] = ()

    def flat_notice(self, kept: Container[str] = frozenset()) -> str:
        """That levels are left behind; "" when none are. kept: rows whose levels are kept."""
        levels = [
            [level for level in row.levels if np.isfinite(level) and level != 0]
            for row in self.accepted
            if row.row not in kept
        ]
        found = [level for row in levels for level in row]
        if not found:
            return ""
        return (
            f"{many(sum(bool(row) for row in levels), 'feature')} came with levels "
            f"({min(found):.2f} to {max(found):.2f} m). Shapes are kept flat; "
            "bring levels in as spot heights or a grid."
        )


ShapeKey = tuple[str, bytes]


def shape_key(kind: str, shape: Any) -> ShapeKey:
    """The same for two shapes of a kind that cover the same ground to the millimetre."""
    return kind, shapely.to_wkb(shapely.normalize(shapely.set_precision(shape, 0.001)))


@dataclass
class _Raw:
    """The shapes of one layer before anything is judged."""

    layer: str
    rows: list[str] = field(default_factory=list)
    geometries: list[Any] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    refs: list[str] = field(default_factory=list)
    told: list[Mapping[str, str]] = field(default_factory=list)
    crs: str | None = None
    broken: list[Refusal] = field(default_factory=list)


def read_features(
    path: Path,
    sort: Sort,
    *,
    kind_of: Callable[[str], str],
    shapes: Mapping[str, str],
    epsg: int,
    near: Box | None = None,
    swap_axes: bool = False,
    known: Mapping[ShapeKey, str] | None = None,
    beside: Container[str] = frozenset(),
) -> FeaturesRead:
    """Read the features of a file whose sort is known from its content.

    kind_of    layer name to kind of feature; "" leaves the layer out
    shapes     kind to the shape it takes: Point, LineString or Polygon
    epsg       the club's grid; a file that states another is converted, one that states none is
               taken as being in it
    near       west, south, east, north of the course; None for a first survey
    known      shapes the course has already (by ``shape_key``), with what each is called there
    beside     layers that hold no features but figures of them, handed out as they stand
    Raises ReadError (AxesSwapped) when the file as a whole cannot be used.
    """
    notices: list[str] = []
    raws = _raw_layers(path, sort, epsg, notices)
    if not raws:
        raise ReadError("The file holds no layer with shapes.")
    if sum(len(raw.rows) for raw in raws) > MOST_FEATURES:
        raise ReadError(
            f"The file holds more than {MOST_FEATURES:,} features; deliver it in parts."
        )
    layers = tuple(_told(raw, epsg) for raw in raws)
    if not any(layer.count for layer in layers):
        raise ReadError("Every layer of the file is empty.")
    notices += [f"Layer “{layer.name}” is empty." for layer in layers if not layer.count]
    raws = [_in_grid(raw, epsg, swap_axes, near, notices) for raw in raws]
    points = [_middles(raw.geometries) for raw in raws]
    middles = np.vstack(points)
    check_place(middles[:, 0], middles[:, 1], epsg, near)
    if swap_axes:
        notices.append("Easting and northing were exchanged on reading, as asked.")
    taking = _Taking(shapes, epsg, near, known or {})
    aside: list[FeatureRow] = []
    for raw in raws:
        if raw.layer in beside:
            aside += _as_they_stand(raw)
            continue
        kind = kind_of(raw.layer)
        if not kind and raw.rows:
            notices.append(
                f"Layer “{raw.layer}” is left out ({many(len(raw.rows), 'feature')}): "
                "no kind is chosen for it."
            )
        elif kind:
            taking.take_layer(raw, kind)
    return FeaturesRead(
        accepted=tuple(taking.accepted),
        refusals=tuple(taking.refusals),
        notices=(*notices, *taking.notices()),
        layers=layers,
        beside=tuple(aside),
    )


def _as_they_stand(raw: _Raw) -> list[FeatureRow]:
    told = raw.told or [{}] * len(raw.rows)
    return [
        FeatureRow(
            row, raw.layer, "", shapely.force_2d(shape), name, ref, _levels_along(shape), said
        )
        for row, shape, name, ref, said in zip(
            raw.rows, raw.geometries, raw.names, raw.refs, told, strict=True
        )
        if shape is not None and not shape.is_empty
    ]


def _levels_along(shape: Any) -> tuple[float, ...]:
    if not shape.has_z:
        return ()
    return tuple(float(z) for z in shapely.get_coordinates(shape, include_z=True)[:, 2])


def _middles(geometries: list[Any]) -> Any:
    """A point of each shape that has any; empty shapes have none."""
    shaped = [shape for shape in geometries if shape is not None and not shape.is_empty]
    if not shaped:
        return np.empty((0, 2))
    bounds = shapely.bounds(np.array(shaped, dtype=object))
    middles = np.column_stack([bounds[:, [0, 2]].mean(axis=1), bounds[:, [1, 3]].mean(axis=1)])
    return middles[np.isfinite(middles).all(axis=1)]


def _told(raw: _Raw, epsg: int) -> Layer:
    kinds = Counter(
        "nothing" if shape is None or shape.is_empty else str(shape.geom_type)
        for shape in raw.geometries
    )
    name = f"not stated, taken as EPSG {epsg}"
    if raw.crs is not None:
        name = pyproj.CRS.from_user_input(raw.crs).name
    return Layer(raw.layer, len(raw.rows), dict(kinds), name)


def _in_grid(raw: _Raw, epsg: int, swap_axes: bool, near: Box | None, notices: list[str]) -> _Raw:
    """The layer's shapes in the club's grid; levels stay on for now."""
    shapes = np.array([*raw.geometries, None], dtype=object)[:-1]
    if swap_axes:
        shapes = _swapped(shapes)
    target = f"EPSG:{epsg}"
    stated = None if raw.crs is None else pyproj.CRS.from_user_input(raw.crs)
    if stated is None or stated.equals(pyproj.CRS.from_user_input(target), ignore_axis_order=True):
        return replace(raw, geometries=list(shapes))
    if stated.to_epsg() == epsg:
        return replace(raw, geometries=list(shapes))
    middles = _middles(list(shapes))
    if not len(middles):
        return replace(raw, geometries=list(shapes))
    try:
        moved = _moved(shapes, raw.crs or "", target)
    except ValueError as error:
        if not swap_axes and _near_when_swapped(shapes, raw.crs or "", target, epsg, near):
            raise _exchanged(raw.layer) from error
        raise ReadError(
            f"Layer “{raw.layer}” states its coordinates as {stated.name}, but they do not lie in "
            "it. Nothing was saved; export it again with the right grid."
        ) from error
    at = _middles(list(moved))
    if (
        not swap_axes
        and not lies_near(at[:, 0], at[:, 1], epsg, near)
        and _near_when_swapped(shapes, raw.crs or "", target, epsg, near)
    ):
        raise _exchanged(raw.layer)
    notices.append(
        f"Layer “{raw.layer}” is in {stated.name}; it was converted to EPSG {epsg}, "
        f"{grid.place_accuracy(epsg).words}."
        if not _same_datum(stated, pyproj.CRS.from_user_input(target))
        else f"Layer “{raw.layer}” is in {stated.name}; it was converted to EPSG {epsg}."
    )
    return replace(raw, geometries=list(moved))


def _same_datum(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    base = one.geodetic_crs
    return base is not None and base == other.geodetic_crs


def _exchanged(layer: str) -> AxesSwapped:
    return AxesSwapped(
        f"The two coordinates of layer “{layer}” look exchanged (latitude before longitude, or "
        "northing before easting): the other way round they lie on the course. "
        "Nothing was saved; read it again with the axes exchanged if that is so."
    )


def _swapped(shapes: Any) -> Any:
    return shapely.transform(shapes, lambda c: c[:, [1, 0, *range(2, c.shape[1])]], include_z=False)


def _moved(shapes: Any, source: str, target: str) -> Any:
    """Plan positions converted, levels untouched."""

    def plan(coordinates: Any) -> Any:
        moved = coordinates.copy()
        finite = np.isfinite(coordinates[:, :2]).all(axis=1)
        if finite.any():
            moved[finite, 0], moved[finite, 1] = grid.convert(
                source, target, coordinates[finite, 0], coordinates[finite, 1]
            )
        return moved

    has_z = shapely.has_z(shapes)
    result = shapes.copy()
    for levelled in (True, False):
        which = (has_z == levelled) & ~shapely.is_missing(shapes)
        if which.any():
            result[which] = shapely.transform(shapes[which], plan, include_z=levelled)
    return result


def _near_when_swapped(shapes: Any, source: str, target: str, epsg: int, near: Box | None) -> bool:
    try:
        at = _middles(list(_moved(_swapped(shapes), source, target)))
    except ValueError:
        return False
    return lies_near(at[:, 0], at[:, 1], epsg, near)


class _Taking:
    """Judges the features of mapped layers one by one and counts what had to be told."""

    def __init__(
        self,
        shapes: Mapping[str, str],
        epsg: int,
        near: Box | None,
        known: Mapping[ShapeKey, str],
    ) -> None:
        self.shapes, self.epsg, self.near, self.known = shapes, epsg, near, known
        self.accepted: list[FeatureRow] = []
        self.refusals: list[Refusal] = []
        self.split = self.parts = self.closed = self.symbols = 0
        self.seen: dict[ShapeKey, str] = {}

    def notices(self) -> list[str]:
        told = []
        if self.split:
            told.append(
                f"{many(self.split, 'shape')} of several parts became {self.parts:,} features."
            )
        if self.closed:
            told.append(f"{many(self.closed, 'closed line')} became areas, as their kind asks.")
        if self.symbols:
            told.append(
                f"{many(self.symbols, 'small outline')} became points at their middle, "
                "as their kind asks."
            )
        return told

    def take_layer(self, raw: _Raw, kind: str) -> None:
        self.refusals += raw.broken
        pieces: list[FeatureRow] = []
        told = raw.told or [{}] * len(raw.rows)
        for row, shape, name, ref, said in zip(
            raw.rows, raw.geometries, raw.names, raw.refs, told, strict=True
        ):
            if shape is None or shape.is_empty:
                self.refusals.append(Refusal(row, "has no shape"))
                continue
            parts = _simple_parts(shape)
            if len(parts) > 1:
                self.split += 1
                self.parts += len(parts)
            for number, part in enumerate(parts, start=1):
                label = f"{row}, part {number}" if len(parts) > 1 else row
                pieces.append(
                    FeatureRow(
                        label, raw.layer, kind, shapely.force_2d(part), name, ref,
                        _levels_along(part), said, is_part=len(parts) > 1,
                    )
                )  # fmt: skip
        middles = [shapely.get_coordinates(piece.geometry) for piece in pieces]
        finite = [bool(np.isfinite(m).all()) for m in middles]
        at = np.array(
            [
                m.mean(axis=0) if good else (0.0, 0.0)
                for m, good in zip(middles, finite, strict=True)
            ]
        ).reshape(-1, 2)
        far = far_ones(at[:, 0], at[:, 1], self.epsg, self.near) if len(at) else {}
        far |= self._stray_points({i: middles[i] for i, good in enumerate(finite) if good})
        for index, piece in enumerate(pieces):
            if not finite[index]:
                self.refusals.append(Refusal(piece.row, "has a coordinate that is not a number"))
            elif index in far:
                self.refusals.append(Refusal(piece.row, far[index]))
            else:
                self._take(piece)

    def _stray_points(self, points: dict[int, Any]) -> dict[int, str]:
        """Shapes with points on the course and one that is not: a wrong figure in a long line."""
        if not points:
            return {}
        owners = np.repeat(list(points), [len(one) for one in points.values()])
        at = np.vstack(list(points.values()))
        strays = far_ones(at[:, 0], at[:, 1], self.epsg, self.near)
        found: dict[int, str] = {}
        count = Counter(owners[list(strays)].tolist())
        for index, reason in strays.items():
            if count[int(owners[index])] == len(points[int(owners[index])]):
                continue
            first = int(np.flatnonzero(owners == owners[index])[0])
            found.setdefault(int(owners[index]), f"its point {index - first + 1} {reason}")
        return found

    def _take(self, piece: FeatureRow) -> None:
        shape, reason = self._as_kind(piece)
        if reason:
            self.refusals.append(Refusal(piece.row, reason))
            return
        key = shape_key(piece.kind, shape)
        if key in self.known:
            self.refusals.append(
                Refusal(piece.row, f"is on the course already, as {self.known[key]}")
            )
            return
        first = self.seen.setdefault(key, piece.row)
        if first != piece.row:
            self.refusals.append(Refusal(piece.row, f"is the same shape as {first}"))
            return
        self.accepted.append(replace(piece, geometry=shape))

    def _as_kind(self, piece: FeatureRow) -> tuple[Any, str]:
        """The shape as its kind wants it, or the reason why it cannot be."""
        shape, wanted = piece.geometry, self.shapes[piece.kind]
        if wanted == "Polygon" and shape.geom_type == "LineString" and shape.is_closed:
            if len(shape.coords) < 4:
                return shape, "is a closed line of less than three corners"
            shape = shapely.Polygon(shape)
            self.closed += 1
        if shape.geom_type != "Point" and not shape.length > 0:
            return shape, f"has no size: all its points lie at {_place(shape)}"
        if shape.geom_type == "Polygon" and not shape.is_valid:
            return shape, grid.why_unsound(shape)
        if wanted == "Point" and (
            shape.geom_type == "Polygon" or (shape.geom_type == "LineString" and shape.is_closed)
        ):
            west, south, east, north = shape.bounds
            if max(east - west, north - south) <= _SYMBOL_M:
                self.symbols += 1
                return shapely.Point(round((west + east) / 2, 3), round((south + north) / 2, 3)), ""
        if shape.geom_type != wanted:
            is_now = _SHAPE_WORDS.get(shape.geom_type, f"of a form not taken ({shape.geom_type})")
            return shape, f"is {is_now}; a {piece.kind} has to be {_SHAPE_WORDS[wanted]}"
        return shape, ""


def _place(shape: Any) -> str:
    x, y = shapely.get_coordinates(shape)[0]
    return f"{x:.1f}, {y:.1f}"


def _simple_parts(shape: Any) -> list[Any]:
    if shape.geom_type in _PARTS or shape.geom_type == "GeometryCollection":
        return [
            part
            for piece in shapely.get_parts(shape)
            for part in ([piece] if piece.geom_type not in _PARTS else _simple_parts(piece))
            if not part.is_empty
        ]
    return [shape]


# --- the formats ---------------------------------------------------------------------------------


def _raw_layers(path: Path, sort: Sort, epsg: int, notices: list[str]) -> list[_Raw]:
    if sort is Sort.GEOJSON:
        return _from_geojson(files.load_json(path, limit=MOST_JSON), epsg, notices)
    if sort is Sort.SHAPES:
        with tempfile.TemporaryDirectory(prefix="reading-") as folder:
            found, remarks = files.unpack_shapefiles(path, Path(folder))
            notices += remarks
            return [_from_driver(shp, None, _text(layer)) for layer, shp in found]
    if sort is Sort.DXF:
        with files.private_copy(path, ".dxf") as copy:
            return _from_dxf(copy)
    with files.private_copy(path, ".gpkg") as copy:
        return _from_geopackage(copy, notices)


def _from_geopackage(path: Path, notices: list[str]) -> list[_Raw]:
    raws = []
    try:
        listed = pyogrio.list_layers(path)
    except DataSourceError as error:
        raise ReadError("The GeoPackage is damaged and cannot be opened.") from error
    for name, shape in listed:
        if shape is None:
            notices.append(f"“{name}” is a table without shapes; it is left out.")
            continue
        raws.append(_from_driver(path, str(name), _text(name)))
    return raws


def _driver_read(path: Path, layer: str | None) -> tuple[Any, Any, Any, Any]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)
            info = pyogrio.read_info(path, layer=layer, force_feature_count=True)
            if info["features"] > MOST_FEATURES:
                raise ReadError(
                    f"The file holds {info['features']:,} features; the most that is taken is "
                    f"{MOST_FEATURES:,}. Deliver it in parts."
                )
            return pyogrio.raw.read(path, layer=layer, return_fids=True)  # type: ignore[no-any-return]
    except (DataSourceError, DataLayerError, FeatureError, GeometryError) as error:
        raise ReadError("The file is damaged or cut short and cannot be read.") from error


def _shape_of(data: Any) -> Any:
    return None if data is None else shapely.from_wkb(data)


def _column(meta: Any, values: Any, *names: str, longest: int = LONGEST_NAME) -> list[str] | None:
    fields = [str(name).lower() for name in meta["fields"]]
    for name in names:
        if name in fields:
            return [_text(value, longest) for value in values[fields.index(name)]]
    return None


def _text(value: Any, longest: int = LONGEST_NAME) -> str:
    """What a file calls a thing, without characters that no database keeps."""
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return ""
    whole = str(value).encode("utf-8", "replace").decode("utf-8")
    return "".join(sign for sign in whole if sign.isprintable()).strip()[:longest]


def _from_driver(path: Path, layer: str | None, told: str) -> _Raw:
    meta, fids, shapes, values = _driver_read(path, layer)
    raw = _Raw(told, crs=_usable_crs(meta["crs"], told))
    blank = [""] * len(fids)
    raw.names = _column(meta, values, "name", "title") or blank
    raw.refs = _column(meta, values, "ref", "reference", "label") or list(blank)
    fields = [str(name).lower() for name in meta["fields"]]
    for number, (fid, data) in enumerate(zip(fids, shapes, strict=True)):
        raw.rows.append(f"layer “{told}”, feature {fid}")
        raw.geometries.append(_shape_of(data))
        raw.told.append(
            {name: _text(column[number]) for name, column in zip(fields, values, strict=True)}
        )
    return raw


def _usable_crs(crs: Any, layer: str) -> str | None:
    if not crs or "Undefined" in str(crs):
        return None
    try:
        stated = pyproj.CRS.from_user_input(crs)
    except pyproj.exceptions.CRSError as error:
        raise ReadError(
            f"Layer “{layer}” states its grid in a way that cannot be understood."
        ) from error
    if stated.is_engineering:
        return None
    return str(crs)


def _from_dxf(path: Path) -> list[_Raw]:
    meta, fids, shapes, values = _driver_read(path, None)
    layers = _column(meta, values, "layer") or ["0"] * len(fids)
    handles = _column(meta, values, "entityhandle") or [""] * len(fids)
    texts = _column(meta, values, "text") or [""] * len(fids)
    kinds = _column(meta, values, "subclasses") or [""] * len(fids)
    whole = _column(meta, values, "text", longest=LONGEST_TEXT) or texts
    raws: dict[str, _Raw] = {}
    for number, data in enumerate(shapes):
        name = layers[number] or "0"
        raw = raws.setdefault(name, _Raw(name))
        handle = f" (handle {handles[number]})" if handles[number] else ""
        raw.rows.append(f"layer “{name}”, entity {number + 1}{handle}")
        raw.geometries.append(_shape_of(data))
        raw.names.append(texts[number] if "Text" in kinds[number] else "")
        raw.refs.append("")
        raw.told.append({"text": whole[number]})
    return list(raws.values())


def _from_geojson(data: object, epsg: int, notices: list[str]) -> list[_Raw]:
    """GeoJSON read without a driver, so that each refusal can name its place in the file."""
    if not isinstance(data, dict):
        raise ReadError("The file is JSON but not GeoJSON.")
    sort = data.get("type")
    if sort == "FeatureCollection":
        members = data.get("features")
        if not isinstance(members, list):
            raise ReadError("The GeoJSON is a FeatureCollection without a list of features.")
    elif sort == "Feature":
        members = [data]
    elif sort in {*_PARTS, "Point", "LineString", "Polygon", "GeometryCollection"}:
        members = [{"type": "Feature", "geometry": data, "properties": {}}]
    else:
        raise ReadError(
            f"The file is JSON but not GeoJSON: its type reads “{str(sort)[:40]}”, expected "
            "FeatureCollection."
        )
    crs = _geojson_crs(data)
    raws: dict[str, _Raw] = {}
    for number, member in enumerate(members, start=1):
        told = member.get("properties") if isinstance(member, dict) else None
        told = told if isinstance(told, dict) else {}
        lower = {str(key).lower(): value for key, value in told.items()}
        layer = _text(lower.get("layer") or lower.get("kind") or data.get("name")) or "features"
        raw = raws.setdefault(layer, _Raw(layer, crs=crs))
        row = f"feature {number}"
        geometry = member.get("geometry") if isinstance(member, dict) else None
        shape = None
        if isinstance(geometry, dict):
            try:
                shape = shapely.geometry.shape(geometry)
            except (*NO_SHAPE, shapely.errors.ShapelyError) as error:
                raw.broken.append(Refusal(row, f"its coordinates cannot be read ({error})"[:200]))
                continue
        raw.rows.append(row)
        raw.geometries.append(shape)
        raw.names.append(_text(lower.get("name") or lower.get("title")))
        raw.refs.append(_text(lower.get("ref") or lower.get("reference")))
        raw.told.append({_text(key): _text(value) for key, value in lower.items()})
    if crs == grid.LONLAT and "crs" not in data:
        at = np.vstack([_middles(raw.geometries) for raw in raws.values()] or [np.empty((0, 2))])
        if len(at) and (np.abs(at) > 180).any(axis=1).mean() > 0.5:
            notices.append(
                f"The GeoJSON holds metres, not degrees, and states no grid; taken as EPSG {epsg}."
            )
            return [replace(raw, crs=None) for raw in raws.values()]
    return list(raws.values())


def _geojson_crs(data: Mapping[str, Any]) -> str:
    """RFC 7946 is WGS 84; files from before it may name another system in ``crs``."""
    stated = data.get("crs")
    if not isinstance(stated, dict):
        return grid.LONLAT
    inner = stated.get("properties")
    name = str(inner.get("name", "")) if isinstance(inner, dict) else ""
    if "CRS84" in name:
        return grid.LONLAT
    code = re.search(r"EPSG:+(?:[\d.]*:)?(\d{3,6})$", name)
    try:
        pyproj.CRS.from_user_input(f"EPSG:{code[1]}" if code else "")
    except pyproj.exceptions.CRSError as error:
        raise ReadError(
            f"The GeoJSON states its grid as “{name[:60]}”, which cannot be understood; "
            "expected a name like EPSG:27700."
        ) from error
    return f"EPSG:{code[1]}" if code else grid.LONLAT
