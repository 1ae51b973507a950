"""Reads that span hours, jobs and plans.

``progress`` measured progress and earned value, ``week`` what a manager approves, ``phone`` what
the crew's page shows.
"""

from __future__ import annotations

from worksprog.hours.queries.phone import phone_jobs, recent_entries
from worksprog.hours.queries.progress import (
    earned_value,
    leaf_hours,
    progress_of_items,
    routine_hours,
    share_done,
)
from worksprog.hours.queries.week import quantity_words, week_of

__all__ = [
    "earned_value",
    "leaf_hours",
    "phone_jobs",
    "progress_of_items",
    "quantity_words",
    "recent_entries",
    "routine_hours",
    "share_done",
    "week_of",
]
