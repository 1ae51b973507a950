"""Reads that span the works, by subject."""

from __future__ import annotations

from worksprog.works.queries.estimates import (
    NOTHING,
    Hands,
    Moved,
    features_for,
    lines_by_category,
    measure_item,
    measure_items,
    price_book,
    repriced_lines,
    stale_items,
    what_moved,
    work_out,
)
from worksprog.works.queries.learnt import book_hours, crew_rates, learnt_in_use
from worksprog.works.queries.programme import (
    CORRELATION,
    ItemSheet,
    PhaseSheet,
    ProgrammeSheet,
    ProjectSheet,
    Totals,
    dates_of_items,
    items_on_feature,
    lacking_words,
    live_estimates,
    live_programme,
    programme_sheet,
    programme_totals,
)
from worksprog.works.queries.rules import rules_of

__all__ = [
    "CORRELATION",
    "NOTHING",
    "Hands",
    "ItemSheet",
    "Moved",
    "PhaseSheet",
    "ProgrammeSheet",
    "ProjectSheet",
    "Totals",
    "book_hours",
    "crew_rates",
    "dates_of_items",
    "features_for",
    "items_on_feature",
    "lacking_words",
    "learnt_in_use",
    "lines_by_category",
    "live_estimates",
    "live_programme",
    "measure_item",
    "measure_items",
    "price_book",
    "programme_sheet",
    "programme_totals",
    "repriced_lines",
    "rules_of",
    "stale_items",
    "what_moved",
    "work_out",
]
