"""Coordinates: a club's projected grid in metres, longitude and latitude, lengths and areas.

Everything is kept in the club's grid; longitude and latitude exist only at the edge, as GeoJSON.
Great Britain's National Grid is converted by the Ordnance Survey's own transformation (OSTN15);
other datums that need a correction grid are good to a few metres, and ``place_accuracy`` says so.
Lengths, falls and areas inside one grid depend on none of this.
"""

from __future__ import annotations

import json
import re
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pyproj
import pyproj.network
import shapely
from convertbng import cutil
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

Floats = npt.NDArray[np.float64]

LONLAT = "EPSG:4326"
NATIONAL_GRID = 27700
DECIMALS = 7  # about a centimetre on the ground, and what RFC 7946 holds to be enough
_GEOJSON_TYPES = frozenset(
    {"Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"}
)

# A conversion must not depend on whether a server far away answers.
pyproj.network.set_network_enabled(active=False)  # type: ignore[attr-defined]


@dataclass(frozen=True)
class Grid:
    """What an EPSG code stands for.

    bounds_lonlat  west, south, east, north of the area the grid is meant for, degrees
    """

    epsg: int
    name: str
    projected_in_metres: bool
    bounds_lonlat: tuple[float, float, float, float] | None


@lru_cache(maxsize=64)
def describe_grid(epsg: int) -> Grid:
    """The grid of an EPSG code.

    Raises ValueError for a code that is not in the EPSG register.
    """
    try:
        crs = pyproj.CRS.from_epsg(epsg)
    except CRSError as error:
        raise ValueError(
            f"{epsg} is not an EPSG code this program knows; expected one like 27700."
        ) from error
    metres = all(axis.unit_name == "metre" for axis in crs.axis_info) and len(crs.axis_info) >= 2
    # Web Mercator is drawn in metres that are not metres on the ground (1.6 to 1 at 52° north).
    true_lengths = "pseudo-mercator" not in crs.name.lower()
    area = crs.area_of_use
    return Grid(
        epsg=epsg,
        name=crs.name,
        projected_in_metres=bool(crs.is_projected and metres and true_lengths),
        bounds_lonlat=None if area is None else (area.west, area.south, area.east, area.north),
    )


@lru_cache(maxsize=64)
def _transformer(source: str, target: str) -> pyproj.Transformer:
    try:
        return pyproj.Transformer.from_crs(source, target, always_xy=True)
    except (CRSError, ProjError) as error:
        raise ValueError(f"There is no conversion from {source} to {target}.") from error


def convert(source: str, target: str, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Convert whole arrays between two coordinate systems, x (east, longitude) always first.

    source, target  anything pyproj reads: "EPSG:27700", a WKT string
    Between the National Grid and another datum by OSTN15, which is meant for degrees of ETRS89
    (WGS 84 is taken as the same, see ``place_accuracy``); grid metres come to the millimetre. A
    point beyond its coverage, which ends some way off the coast, goes the general way.
    Raises ValueError for an unknown system, and where a point has no place in the target.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    way = _national_way(source, target)
    if way is None:
        east, north = _generally(source, target, xs, ys)
    elif way == "into":
        east, north = _by_ostn15(LONLAT, target, *_generally(source, LONLAT, xs, ys))
    else:
        east, north = _generally(LONLAT, target, *_by_ostn15(source, LONLAT, xs, ys))
    if not (np.isfinite(east).all() and np.isfinite(north).all()):
        raise ValueError(f"Some coordinates lie outside what {target} can show.")
    return east, north


def _generally(source: str, target: str, xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
    if source == target:
        return xs, ys
    east, north = _transformer(source, target).transform(xs, ys)
    return np.asarray(east, dtype=float), np.asarray(north, dtype=float)


@lru_cache(maxsize=64)
def _national_way(source: str, target: str) -> Literal["into", "out of"] | None:
    """Whether a conversion changes between the National Grid's datum and another one."""
    try:
        one, other = pyproj.CRS.from_user_input(source), pyproj.CRS.from_user_input(target)
    except CRSError:
        return None
    if one.geodetic_crs is None or one.geodetic_crs == other.geodetic_crs:
        return None
    if other.to_epsg() == NATIONAL_GRID:
        return "into"
    return "out of" if one.to_epsg() == NATIONAL_GRID else None


def _by_ostn15(source: str, target: str, xs: Floats, ys: Floats) -> tuple[Floats, Floats]:
    flat_x, flat_y = xs.reshape(-1), ys.reshape(-1)
    step = cutil.convert_bng if source == LONLAT else cutil.convert_lonlat
    east, north = step(flat_x, flat_y)
    beyond = np.isnan(east) | np.isnan(north)
    if beyond.any():
        east, north = east.copy(), north.copy()
        east[beyond], north[beyond] = _generally(source, target, flat_x[beyond], flat_y[beyond])
    return east.reshape(xs.shape), north.reshape(xs.shape)


@dataclass(frozen=True)
class PlaceAccuracy:
    """How far a place may be off when a grid meets longitude and latitude.

    metres  None when the register states none
    words   by which way, and what it means
    """

    metres: float | None
    words: str


@lru_cache(maxsize=64)
def place_accuracy(epsg: int) -> PlaceAccuracy:
    """What a conversion between this grid and WGS 84 is good for, with what is at hand here.

    Source: the accuracies of the EPSG register as pyproj gives them; for the National Grid the
    Ordnance Survey's own figure of about 0.1 m for OSTN15 (from memory).
    Raises ValueError for an unknown grid.
    """
    describe_grid(epsg)
    if epsg == NATIONAL_GRID:
        return PlaceAccuracy(
            0.1,
            "by the Ordnance Survey's own transformation (OSTN15), good to about 0.1 m; a satellite "
            "position counted in WGS 84 lies up to about 1 m from the European frame that it "
            "takes, unless the receiver corrects for it",
        )
    with warnings.catch_warnings():
        # It warns of correction grids that are not here, which is what is asked for.
        warnings.simplefilter("ignore", UserWarning)
        ways = TransformerGroup(LONLAT, f"EPSG:{epsg}", always_xy=True)
    stated = [way.accuracy for way in ways.transformers if way.accuracy >= 0]
    best = min(stated, default=None)
    missing = [way.accuracy for way in ways.unavailable_operations if way.accuracy >= 0]
    if best is None:
        return PlaceAccuracy(None, "by a conversion for which no accuracy is stated")
    if best == 0:
        return PlaceAccuracy(0.0, "by formula alone: grid and degrees share one frame")
    words = f"by the best conversion at hand, stated to about {best:g} m"
    if missing and min(missing) < best:
        words += (
            f"; a better one, to {min(missing):g} m, needs a correction grid that is not here. "
            "Against other maps and satellite positions the course may lie that much off; "
            "lengths, falls and areas are not touched"
        )
    return PlaceAccuracy(best, words)


def to_lonlat(epsg: int, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Grid metres (easting, northing) to WGS 84 degrees (longitude, latitude)."""
    return convert(f"EPSG:{epsg}", LONLAT, x, y)


def from_lonlat(epsg: int, lon: npt.ArrayLike, lat: npt.ArrayLike) -> tuple[Floats, Floats]:
    """WGS 84 degrees (longitude, latitude) to grid metres (easting, northing)."""
    return convert(LONLAT, f"EPSG:{epsg}", lon, lat)


@lru_cache(maxsize=64)
def grid_extent(epsg: int) -> tuple[float, float, float, float] | None:
    """West, south, east, north in metres of the area a grid is meant for; None when not stated."""
    bounds = describe_grid(epsg).bounds_lonlat
    if bounds is None:
        return None
    west, south, east, north = bounds
    lon, lat = np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
    x, y = _transformer(LONLAT, f"EPSG:{epsg}").transform(lon.ravel(), lat.ravel())
    good = np.isfinite(x) & np.isfinite(y)
    if not good.any():
        return None
    return (
        float(np.min(x[good])),
        float(np.min(y[good])),
        float(np.max(x[good])),
        float(np.max(y[good])),
    )


def convert_geometries(geometries: Any, source: str, target: str) -> npt.NDArray[np.object_]:
    """Convert many geometries between two systems with one call for all their coordinates.

    Missing geometries (None) stay None. Levels (z) are dropped: this is about plan position.
    """
    flat = shapely.force_2d(np.asarray(geometries, dtype=object))
    if source == target:
        return np.asarray(flat, dtype=object)

    def moved(coordinates: Floats) -> Floats:
        if not len(coordinates):
            return coordinates
        return np.column_stack(convert(source, target, coordinates[:, 0], coordinates[:, 1]))

    return np.asarray(shapely.transform(flat, moved), dtype=object)


def to_wgs84(epsg: int, geometries: Any) -> npt.NDArray[np.object_]:
    """Geometries in grid metres as geometries in longitude and latitude, unrounded."""
    return convert_geometries(geometries, f"EPSG:{epsg}", LONLAT)


def from_wgs84(epsg: int, geometries: Any) -> npt.NDArray[np.object_]:
    """Geometries in longitude and latitude as geometries in grid metres."""
    return convert_geometries(geometries, LONLAT, f"EPSG:{epsg}")


def _as_published(geometries: Any, epsg: int) -> npt.NDArray[np.object_]:
    degrees = to_wgs84(epsg, geometries)
    rounded = shapely.transform(degrees, lambda c: np.round(c, DECIMALS))
    return np.asarray(shapely.orient_polygons(rounded, exterior_cw=False), dtype=object)


def geojson_texts(geometries: Sequence[Any], epsg: int) -> list[str]:
    """One RFC 7946 geometry a text: longitude first, outer rings counter-clockwise, ≤ 7 decimals.

    geometries  shapely geometries in the club's grid; "null" is returned for None
    Source: RFC 7946 section 3.1.6 (ring order), 4 (WGS 84), 11.2 (precision).
    """
    if not len(geometries):
        return []
    texts = shapely.to_geojson(_as_published(geometries, epsg))
    return ["null" if text is None else str(text) for text in texts]


def geojson_of(geometries: Sequence[Any], epsg: int) -> list[dict[str, Any] | None]:
    """As ``geojson_texts``, as plain dicts."""
    return [json.loads(text) for text in geojson_texts(geometries, epsg)]


# One encoder for all: json.dumps makes a new one for each call that asks for anything of its own.
_told = json.JSONEncoder(separators=(",", ":"), default=str).encode


def feature_collection_text(
    geometries: Sequence[Any],
    properties: Sequence[Mapping[str, Any]],
    epsg: int,
    *,
    ids: Sequence[str] | None = None,
) -> str:
    """An RFC 7946 FeatureCollection as text, without ever building the dicts of the geometries.

    Raises ValueError when geometries, properties and ids are not equally many.
    """
    if len(geometries) != len(properties) or (ids is not None and len(ids) != len(geometries)):
        raise ValueError("Each geometry needs its properties, and its id when ids are given.")
    features = []
    for number, text in enumerate(geojson_texts(geometries, epsg)):
        told = _told(properties[number])
        name = f'"id":{_told(ids[number])},' if ids is not None else ""
        features.append(f'{{"type":"Feature",{name}"geometry":{text},"properties":{told}}}')
    return '{"type":"FeatureCollection","features":[' + ",".join(features) + "]}"


def geometry_from_geojson(data: Mapping[str, Any] | str, epsg: int) -> Any:
    """A shapely geometry in the club's grid from a GeoJSON geometry in longitude and latitude.

    Levels are dropped. Raises ValueError, in words for the person who drew it, for anything that
    is not a point, line or area with finite coordinates, or that is empty or crosses itself.
    """
    if isinstance(data, str):
        try:
            data = json.loads(data)
        except (ValueError, RecursionError) as error:
            raise ValueError("The drawing could not be read: it is not GeoJSON.") from error
    if not isinstance(data, Mapping) or data.get("type") not in _GEOJSON_TYPES:
        raise ValueError("The drawing could not be read: expected a point, a line or an area.")
    try:
        drawn = shapely.geometry.shape(dict(data))
    except (ValueError, TypeError, AttributeError, KeyError, IndexError, OverflowError) as error:
        raise ValueError(
            "The drawing could not be read: its coordinates are not numbers."
        ) from error
    except shapely.errors.ShapelyError as error:
        raise ValueError(f"The drawing could not be read: {error}.") from error
    if drawn.is_empty:
        raise ValueError("The drawing is empty: it has no points.")
    coordinates = shapely.get_coordinates(drawn)
    if not np.isfinite(coordinates).all():
        raise ValueError("The drawing could not be read: its coordinates are not numbers.")
    if (np.abs(coordinates[:, 0]) > 180).any() or (np.abs(coordinates[:, 1]) > 90).any():
        raise ValueError(
            "The drawing's coordinates are not longitude and latitude in degrees (RFC 7946)."
        )
    placed = from_wgs84(epsg, [drawn])[0]
    if not placed.is_valid:
        raise ValueError(f"The drawing {why_unsound(placed)}.")
    return placed


def why_unsound(shape: Any) -> str:
    """Why a line or area that is not valid is none, in words that follow "the shape"."""
    if len(np.unique(shapely.get_coordinates(shape), axis=0)) < 2:
        return "has no size: all its points are the same point"
    told = str(shapely.is_valid_reason(shape))
    at = re.search(r"\[(\S+) (\S+)\]", told)
    place = f" at {float(at[1]):.1f}, {float(at[2]):.1f}" if at else ""
    if "Self-intersection" in told:
        return f"crosses itself{place}"
    if "Too few points" in told:
        return f"has fewer than three points that differ{place}"
    return f"is not a sound area{place} ({told.split('[')[0].strip().lower()})"


def length_m(geometry: Any) -> float:
    """Length of a line, or of an area's outline, in grid metres."""
    return float(shapely.length(geometry))


def area_m2(geometry: Any) -> float:
    """Area in square grid metres; 0 for points and lines."""
    return float(shapely.area(geometry))


def distance_to_box_m(
    x: npt.ArrayLike, y: npt.ArrayLike, box: tuple[float, float, float, float]
) -> Floats:
    """Distance of points to a box (west, south, east, north); 0 inside it."""
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    west, south, east, north = box
    dx = np.maximum(np.maximum(west - xs, xs - east), 0.0)
    dy = np.maximum(np.maximum(south - ys, ys - north), 0.0)
    return np.asarray(np.hypot(dx, dy), dtype=float)
