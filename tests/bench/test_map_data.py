"""Map data of a large course: 3,000 features in at most 150 ms and 600 kB gzipped."""

from __future__ import annotations

import gzip
import random
import time
from typing import Any

import pytest
import shapely
from django.test import Client

from tests.cast import Cast
from worksprog.clubs.records import save_records
from worksprog.course.models import Feature, Hole

MOST_S = 0.150
MOST_BYTES = 600_000
E, N = 451_000.0, 287_000.0


def large_course(cast: Cast) -> None:
    """18 holes: 2,000 trees, 700 areas of some 40 points, 300 lines of some 15."""
    chance = random.Random(20261124)
    holes = [Hole(club=cast.club, number=number) for number in range(1, 19)]
    save_records(holes, by=cast.manager, label="holes")
    rows = []
    for i in range(3000):
        x, y = E + chance.uniform(0, 900), N + chance.uniform(0, 700)
        shape: Any = shapely.Point(x, y)
        kind = "tree"
        if i % 3 == 0:
            kind = chance.choice(("ditch", "pipe", "path"))
            shape = shapely.LineString([(x + 9 * k, y + chance.uniform(-4, 4)) for k in range(15)])
        if i % 3 == 0 and i % 10 < 7:
            kind = chance.choice(("green", "tee", "bunker", "fairway"))
            shape = shapely.Point(x, y).buffer(chance.uniform(4, 18), quad_segs=10)
        rows.append(
            Feature(club=cast.club, kind=kind, ref=f"F{i}", name=f"Feature {i}", geometry=shape)
        )
    made = save_records(rows, by=cast.manager, label="features")
    through = Feature.holes.through
    keys = list(Hole.objects.filter(club=cast.club).values_list("pk", flat=True))
    through.objects.bulk_create(
        through(feature_id=row.pk, hole_id=chance.choice(keys))
        for row in made
        if row.kind != "tree"
    )


@pytest.mark.django_db
def test_map_data_of_3000_features(cast: Cast, as_manager: Client, benchmark: Any) -> None:
    large_course(cast)

    def ask() -> Any:
        return as_manager.get(
            "/c/first/course/map/features.json", headers={"accept-encoding": "gzip"}
        )

    answer = benchmark.pedantic(ask, rounds=7, warmup_rounds=2)
    assert len(answer.content) <= MOST_BYTES
    assert gzip.decompress(answer.content).count(b'"type":"Feature",') == 3000
    # Everything happens in this process, so its own time is the answer's on an otherwise idle host.
    times = []
    for _ in range(5):
        start = time.process_time()
        ask()
        times.append(time.process_time() - start)
    assert min(times) <= MOST_S
    benchmark.extra_info.update(gzip_bytes=len(answer.content), own_time_ms=1000 * min(times))
