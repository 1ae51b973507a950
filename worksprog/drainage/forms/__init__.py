"""Forms of the drain network, one module a subject."""

from __future__ import annotations

from worksprog.drainage.forms.network import (
    MarkedForm,
    NodeForm,
    ReachForm,
    SheetModelForm,
    StormForm,
)

__all__ = [
    "MarkedForm",
    "NodeForm",
    "ReachForm",
    "SheetModelForm",
    "StormForm",
]
