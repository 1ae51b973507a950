"""The sheet of an item with 400 lines, its comparison and its hands: queries and time."""

from __future__ import annotations

import time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests.works.conftest import works as works
from tests.works.test_compared import with_lines

MOST_QUERIES = 12
LINES = 400


# The machine's own work is timed, not its waiting for others on the same cores.
@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize(
    ("page", "query", "seconds"),
    [
        ("item", "", 0.4),
        ("compare", "?part", 0.25),
        ("compare", "", 0.25),
        ("hands", "?part", 0.25),
    ],
)
@pytest.mark.django_db
def test_an_item_with_400_lines(benchmark, works, cast, as_manager, page, query, seconds):
    with_lines(works.carrier, LINES, cast.manager)
    address = reverse(f"works:{page}", args=[cast.club.slug, works.carrier.uuid]) + query
    with CaptureQueriesContext(connection) as taken:
        answer = as_manager.get(address)
    assert answer.status_code == 200
    assert len(taken) <= MOST_QUERIES
    benchmark.pedantic(as_manager.get, (address,), rounds=5, warmup_rounds=1)
    assert benchmark.stats.stats.median <= seconds
