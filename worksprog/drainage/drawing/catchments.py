"""The shares of the ground as a small map: each reach's own ground round its line."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import shapely
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from worksprog.drainage.drawing.marks import joined
from worksprog.drainage.queries.catchments import NetworkShares

WIDTH = 900.0
EDGE = 10.0


def draw_shares(shares: NetworkShares, *, address_of: Callable[[Any], str]) -> SafeString:
    """Each share outlined, by turns plain and tinted, with its reach and its name; north is up."""
    lines = [one.feature.geometry for one in shares.reaches]
    areas = [c.outline for one in shares.reaches for c in one.catchments]
    west, south, east, north = shapely.total_bounds([*lines, *areas]).tolist()
    scale = (WIDTH - 2 * EDGE) / max(east - west, 40.0)
    height = (north - south) * scale + 2 * EDGE

    def laid(shape: Any) -> list[str]:
        """Each ring or line of a shape as an SVG path, in drawing units."""
        rings = shapely.get_parts(shapely.boundary(shape)) if shape.area else [shape]
        return [
            "M"
            + "L".join(
                f"{EDGE + (x - west) * scale:.1f} {EDGE + (north - y) * scale:.1f}"
                for x, y in shapely.get_coordinates(ring).tolist()
            )
            for ring in rings
        ]

    marks: list[SafeString] = []
    # Thinned together, so that neighbours keep one edge.
    thinned: Iterator[Any] = iter(shapely.coverage_simplify(areas, shares.cell_m) if areas else [])
    for turn, one in enumerate(shares.reaches):
        for catchment in one.catchments:
            marks.append(
                format_html(
                    '<path class="share {}" d="{}"><title>{}: {} ha</title></path>',
                    "odd" if turn % 2 else "even",
                    " ".join(laid(next(thinned))),
                    str(one.feature),
                    f"{catchment.area_m2 / 10_000:.2f}",
                )
            )
    for one in shares.reaches:
        middle = shapely.line_interpolate_point(one.feature.geometry, 0.5, normalized=True)
        marks.append(
            format_html(
                '<a href="{}"><path class="reach" d="{}"/><text x="{}" y="{}">{}</text></a>',
                address_of(one.feature),
                " ".join(laid(one.feature.geometry)),
                f"{EDGE + (middle.x - west) * scale + 4:.1f}",
                f"{EDGE + (north - middle.y) * scale - 4:.1f}",
                one.feature.ref or one.feature.name,
            )
        )
    if not marks:
        return mark_safe("")
    return format_html(
        '<svg viewBox="0 0 {} {}" role="group" aria-label="The ground that drains to each of {} '
        'reaches, north at the top">{}</svg>',
        f"{WIDTH:.0f}",
        f"{height:.0f}",
        len(shares.reaches),
        joined(marks),
    )
