"""The few pieces of SVG that every drawing is put together from.

Sizes are millimetres on paper: a drawing's ``viewBox`` counts in them, so that a scale stated on it is true.
Only presentation attributes are used: the page's policy blocks style attributes, and the PDF's renderer
does not apply the page's style sheet inside a drawing.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

INK = "#1a2320"
SOFT = "#59645d"
RULE = "#cdc5b2"
HAIRLINE = "#e2dccd"
SHEET = "#fbf9f3"
ACCENT = "#7b2d43"
WATER = "#1d6a86"
GREEN = "#9db77b"
WOOD = "#5c7a5d"
SAND = "#e8d9ac"
PATH = "#a89b88"

SANS = "IBM Plex Sans, IBM Plex Sans Ext, sans-serif"
MONO = "IBM Plex Mono, IBM Plex Mono Ext, monospace"
# Advance of a character as a share of the type size: exact in the mono face, an upper mean in the other.
MONO_ADVANCE = 0.6
SANS_ADVANCE = 0.56


def number(value: float) -> str:
    """A coordinate to a hundredth of a millimetre, without trailing noughts."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text


def element(name: str, *children: str, **attributes: str | float | None) -> str:
    """One element; an underscore in an attribute's name stands for the hyphen."""
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        shown = number(value) if isinstance(value, int | float) else escape(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{shown}"')
    head = " ".join(parts)
    return f"<{head}>{''.join(children)}</{name}>" if children else f"<{head}/>"


def words(
    text: str, x: float, y: float, *, size: float = 2.6, face: str = SANS, **attributes: str | float
) -> str:
    attributes.setdefault("fill", INK)
    return element("text", escape(text), x=x, y=y, font_size=size, font_family=face, **attributes)


def polyline(points: Iterable[tuple[float, float]], **attributes: str | float) -> str:
    attributes.setdefault("fill", "none")
    return element(
        "polyline", points=" ".join(f"{number(x)},{number(y)}" for x, y in points), **attributes
    )


def ring_path(rings: Iterable[Iterable[tuple[float, float]]]) -> str:
    """Path data of closed rings; holes are left open by the even-odd rule."""
    return " ".join(
        "M" + " L".join(f"{number(x)} {number(y)}" for x, y in ring) + " Z" for ring in rings
    )


def drawing(
    *children: str, width_mm: float, height_mm: float, title: str, css_class: str = "drawing"
) -> str:
    """The whole picture with its title, which is also what a screen reader says."""
    return element(
        "svg",
        element("title", escape(title)),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        class_=css_class,
        role="img",
        viewBox=f"0 0 {number(width_mm)} {number(height_mm)}",
        width=f"{number(width_mm)}mm",
        height=f"{number(height_mm)}mm",
    )
