"""The drain network as files that others can work with, and read back without loss.

GeoPackage and DXF hold lines in three dimensions at the design inverts, a layer a kind; built
levels are points of their own. Coordinates and levels go out to the millimetre.
"""

from __future__ import annotations

import csv
import io
import tempfile
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely

from worksprog.clubs.models import Club
from worksprog.course.models import DRAIN_LINES, DRAIN_NODES, SHAPES
from worksprog.course.reading.features import FeatureRow, FeaturesRead, read_features
from worksprog.course.reading.files import Sort
from worksprog.drainage.models import DrainNode, DrainReach
from worksprog.drainage.queries.as_built import ReachAsBuilt, every_as_built

LEVELS_LAYER = "as_built_levels"
WORDS_LAYER = "drain_words"
SIZES = (
    *("inside_diameter_mm", "ks_mm", "bottom_width_m", "side_slope", "depth_m", "freeboard_m"),
    *("manning_n", "material"),
)
COLUMNS = (
    *("ref", "name", "kind", "state", "upstream_invert_m", "downstream_invert_m", "cover_level_m"),
    *("invert_level_m", "built_upstream_m", "built_downstream_m", *SIZES, "epsg", "uuid"),
)


def _said(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _metres(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def _facts(one: ReachAsBuilt, epsg: int) -> dict[str, str]:
    feature = one.feature
    reach: DrainReach | None = getattr(feature, "reach", None)
    node: DrainNode | None = getattr(feature, "node", None)
    upper, lower = one.ends
    return {
        "ref": feature.ref,
        "name": feature.name,
        "kind": feature.kind,
        "state": feature.state,
        "upstream_invert_m": _metres(one.design.upstream_m if one.design else None),
        "downstream_invert_m": _metres(one.design.downstream_m if one.design else None),
        "cover_level_m": _metres(node.cover_level_m if node else None),
        "invert_level_m": _metres(node.invert_level_m if node else None),
        "built_upstream_m": _metres(upper),
        "built_downstream_m": _metres(lower),
        **{name: _said(getattr(reach, name, None)) for name in SIZES},
        "epsg": str(epsg),
        "uuid": str(feature.uuid),
    }


def _shape(one: ReachAsBuilt) -> Any:
    """To the millimetre; with levels where both ends, or the chamber, have one."""
    flat = np.round(shapely.get_coordinates(one.feature.geometry), 3)
    if one.design is None:
        node: DrainNode | None = getattr(one.feature, "node", None)
        if node is None or node.invert_level_m is None:
            return shapely.Point(flat[0])
        return shapely.Point(float(flat[0, 0]), float(flat[0, 1]), round(node.invert_level_m, 3))
    if one.design.gradient is None:
        return shapely.LineString(flat)
    steps = np.hypot(*np.diff(flat, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    levels = np.array([one.design.level_at(float(at)) for at in along], dtype=float)
    return shapely.LineString(np.column_stack([flat, np.round(levels, 3)]))


def _write(
    path: Path, layer: str, shapes: list[Any], rows: list[dict[str, str]], epsg: int
) -> None:
    names = list(rows[0])
    three_d = any(shape.has_z for shape in shapes)
    # One sort of geometry a layer; a level that is not known is told by its empty column.
    shapes = [shapely.force_3d(shape, 0.0) if three_d else shape for shape in shapes]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        pyogrio.raw.write(
            path,
            np.array(shapely.to_wkb(shapes), dtype=object),
            field_data=[np.array([row[name] for row in rows], dtype=object) for name in names],
            fields=np.array(names, dtype=object),
            geometry_type=("2.5D " if three_d else "") + str(shapes[0].geom_type),
            driver="GPKG",
            layer=layer,
            crs=f"EPSG:{epsg}",
            append=path.exists(),
        )


def _level_rows(
    drains: list[ReachAsBuilt], epsg: int
) -> list[tuple[shapely.Point, dict[str, str]]]:
    found = []
    for one in drains:
        for line in one.lines:
            row = line.row
            facts = {
                "ref": one.feature.ref,
                "of": row.of,
                "chainage_m": _metres(line.built.chainage_m if line.built else row.chainage_m),
                "level_m": _metres(row.level_m),
                "level_accuracy_m": _metres(row.level_accuracy_m),
                "plan_accuracy_m": _metres(row.plan_accuracy_m),
                "measured_on": row.measured_on.isoformat(),
                "how": row.how,
                "corrected": "" if line.counts else "yes" if line.corrected_by else "taken again",
                "epsg": str(epsg),
                "uuid": str(row.uuid),
            }
            point = shapely.Point(round(row.x_m, 3), round(row.y_m, 3), round(row.level_m, 3))
            found.append((point, facts))
    return found


def network_geopackage(club: Club) -> bytes:
    """A layer for each kind of drain and one of built levels; b"" where there is no drain."""
    drains = every_as_built(club)
    with tempfile.TemporaryDirectory(prefix="writing-") as folder:
        path = Path(folder) / "drains.gpkg"
        for kind in sorted({one.feature.kind for one in drains}):
            rows = [one for one in drains if one.feature.kind == kind]
            _write(
                path, kind, [_shape(one) for one in rows],
                [_facts(one, club.epsg) for one in rows], club.epsg,
            )  # fmt: skip
        levels = _level_rows(drains, club.epsg)
        if levels:
            points: list[Any] = [point for point, _ in levels]
            _write(path, LEVELS_LAYER, points, [row for _, row in levels], club.epsg)
        return path.read_bytes() if path.exists() else b""


def _words(one: ReachAsBuilt) -> str:
    """What a drawing cannot hold as columns: name=value, with semicolons between."""
    wanted = {
        name: value
        for name, value in _facts(one, 0).items()
        if value and name not in ("kind", "epsg", "name", "state")
    }
    told = (f"{name}={value.replace(';', ',')}" for name, value in wanted.items())
    return "; ".join(told).replace('"', "'").replace("\\", "/")


def network_dxf(club: Club) -> bytes:
    """Lines in three dimensions on a layer a kind, their figures as text, built levels as points."""
    drains = every_as_built(club)
    if not drains:
        return b""
    shapes: list[Any] = []
    layers, texts, styles = [], [], []
    for one in drains:
        shape = _shape(one)
        middle = shape.interpolate(0.5, normalized=True) if one.design else shape
        shapes += [shape, shapely.Point(middle.x, middle.y)]
        layers += [one.feature.kind, WORDS_LAYER]
        texts += ["", _words(one)]
        styles += ["", f'LABEL(f:"Arial",s:1g,t:"{_words(one)}")']
    for point, _ in _level_rows(drains, club.epsg):
        shapes.append(point)
        layers.append(LEVELS_LAYER)
        texts.append("")
        styles.append("")
    with tempfile.TemporaryDirectory(prefix="writing-") as folder:
        path = Path(folder) / "drains.dxf"
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a DXF has no place for its grid
            pyogrio.raw.write(
                path,
                np.array(shapely.to_wkb(shapes), dtype=object),
                field_data=[
                    np.array(layers, dtype=object),
                    np.array(texts, dtype=object),
                    np.array(styles, dtype=object),
                ],
                fields=np.array(["Layer", "Text", "OGR_STYLE"], dtype=object),
                geometry_type="Unknown",
                driver="DXF",
                layer="entities",
                crs=None,
            )
        return path.read_bytes()


def harmless(text: str) -> str:
    """Text that a spreadsheet would run as a formula, made plain; numbers stay numbers."""
    return f"'{text}" if text[:1] in ("=", "+", "@", "\t", "\r") else text


CSV_HEAD = (
    "uuid",
    "ref",
    "kind",
    "part",
    "easting",
    "northing",
    "level",
    *COLUMNS[1:2],
    *COLUMNS[3:-1],
)


def network_csv(club: Club) -> str:
    """A row for each point of each drain, in order, and one for each built level."""
    text = io.StringIO()
    writer = csv.DictWriter(text, CSV_HEAD, lineterminator="\r\n", restval="")
    writer.writeheader()
    drains = every_as_built(club)
    for one in drains:
        facts = {key: harmless(value) for key, value in _facts(one, club.epsg).items()}
        points = shapely.get_coordinates(_shape(one), include_z=True)
        for x, y, z in points.tolist():
            level = "" if np.isnan(z) else f"{z:.3f}"
            writer.writerow(
                facts
                | {"part": "line", "easting": f"{x:.3f}", "northing": f"{y:.3f}", "level": level}
            )
        for point, row in _level_rows([one], club.epsg):
            writer.writerow(
                {
                    "uuid": row["uuid"], "ref": harmless(row["ref"]), "kind": row["of"],
                    "part": {"": "built", "yes": "built corrected"}.get(
                        row["corrected"], "built, taken again"
                    ),
                    "easting": f"{point.x:.3f}", "northing": f"{point.y:.3f}",
                    "level": row["level_m"], "epsg": row["epsg"],
                }
            )  # fmt: skip
    return text.getvalue()


@dataclass(frozen=True, eq=False)
class DrainRead:
    """A drain from a file: shape in the club's grid, the levels of its points, its figures."""

    kind: str
    ref: str
    geometry: Any
    levels: tuple[float, ...]
    told: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class NetworkRead:
    """built: easting, northing and level of each level taken on site."""

    drains: tuple[DrainRead, ...]
    built: tuple[tuple[float, float, float], ...]


def read_network(path: Path, sort: Sort, *, epsg: int) -> NetworkRead:
    """Read a drain network from a GeoPackage or DXF by the reader that every import goes through.

    Raises ReadError when the file cannot be used.
    """
    kinds = {str(kind): str(kind) for kind in DRAIN_LINES | DRAIN_NODES}
    read = read_features(
        path,
        sort,
        kind_of=lambda layer: kinds.get(layer, ""),
        shapes=SHAPES,
        epsg=epsg,
        beside=frozenset({LEVELS_LAYER, WORDS_LAYER}),
    )
    drains = []
    for row in with_words(read):
        levels = row.levels
        told = row.told
        known = told.get("upstream_invert_m") if len(levels) > 1 else told.get("invert_level_m")
        drains.append(DrainRead(row.kind, row.ref, row.geometry, levels if known else (), told))
    built = tuple(
        (row.geometry.x, row.geometry.y, row.levels[0])
        for row in read.beside
        if row.layer == LEVELS_LAYER and row.levels
    )
    return NetworkRead(tuple(drains), built)


def with_words(read: FeaturesRead) -> list[FeatureRow]:
    """The features, drains with the figures a drawing has written at their middles."""
    words = [row for row in read.beside if row.layer == WORDS_LAYER]
    if not words:
        return list(read.accepted)
    tree = shapely.STRtree([row.geometry for row in words])
    rows = []
    for row in read.accepted:
        if row.kind in DRAIN_LINES | DRAIN_NODES and not row.is_part:
            near = tree.query_nearest(_middle(row.geometry), max_distance=0.002, all_matches=False)
            told = _pairs(words[int(near[0])].told.get("text", "")) if len(near) else {}
            row = replace(row, told={**row.told, **told}, ref=row.ref or told.get("ref", ""))
        rows.append(row)
    return rows


def _middle(shape: Any) -> Any:
    return shape.interpolate(0.5, normalized=True) if shape.geom_type == "LineString" else shape


def _pairs(text: str) -> Mapping[str, str]:
    pairs = (part.partition("=") for part in text.split("; "))
    return {name: value for name, _, value in pairs}
