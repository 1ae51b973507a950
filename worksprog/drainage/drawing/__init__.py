from __future__ import annotations

from worksprog.drainage.drawing.page import draw_long_section, draw_network, piece_words

__all__ = ["draw_long_section", "draw_network", "piece_words"]
