"""From a table of 50,000 spot heights to a saved ground: 10 s and 1 GB are the limits."""

from __future__ import annotations

import io
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile

from tests.bench.test_ground import believable
from tests.cast import Cast
from worksprog.course import services_surveys as services

ALONE = """
import resource, sys
from worksprog.calc import ground
from worksprog.course.reading.spot_heights import read_spot_heights
got = read_spot_heights(open(sys.argv[1], "rb").read(), epsg=27700)
model = ground.ground_from_spot_heights(got.xyz)
raster = ground.as_grid(model)
ground.contours(raster, step_m=0.5)
ground.shading_for_map(raster, 27700)
ground.dump_ground(model)
print(len(got.xyz), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def table() -> bytes:
    text = io.StringIO()
    text.write("easting,northing,level,code\n")
    for x, y, z in believable():
        text.write(f"{x:.3f},{y:.3f},{z:.3f},GL\n")
    return text.getvalue().encode()


@pytest.mark.django_db(transaction=True)
def test_import_with_ground(benchmark: Any, cast: Cast) -> None:
    data = table()

    def whole_import() -> int:
        draft = services.begin_import(
            club=cast.club,
            what="spot_heights",
            upload=ContentFile(data, name="levels.csv"),
            name="Levels",
            surveyed_on=date(2026, 3, 14),
            by=cast.manager,
        )
        mark = services.preview(draft).mark
        survey = services.accept_import(draft=draft, by=cast.manager, mark=mark)
        return services.build_ground(club=cast.club, surveys=[survey], by=cast.manager).count

    assert benchmark.pedantic(whole_import, rounds=2, iterations=1) > 49_900
    assert benchmark.stats.stats.max < 10


def test_memory_of_a_process_that_does_nothing_else(benchmark: Any, tmp_path: Path) -> None:
    path = tmp_path / "levels.csv"
    path.write_bytes(table())

    def alone() -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", ALONE, str(path)], capture_output=True, text=True, check=True
        )
        return done.stdout.split()

    count, kilobytes = benchmark.pedantic(alone, rounds=1, iterations=1)
    assert int(count) > 49_900
    assert int(kilobytes) < 1_000_000
    benchmark.extra_info["peak_mb"] = int(kilobytes) // 1000
