"""Tidy rules on small made networks where the answer is known by hand."""

from __future__ import annotations

import time

import numpy as np
import pytest
from shapely.geometry import LineString, box

from tests.calc.drains import STORM, ditch, outfall, pipe
from worksprog.calc.network import check_drains
from worksprog.calc.network.tidy import Buried, Surface, TidyLimits, check_tidy
from worksprog.calc.pipes import PipeSection


def flat(level):
    return lambda x, y: np.full(len(x), level)


def broken(reaches, nodes=(), **given):
    given.setdefault("ground_at", None)
    check = check_drains(reaches, list(nodes), STORM)
    return {one.rule: one for one in check_tidy(check, **given)}


def test_a_tidy_drain_breaks_no_rule():
    reaches = [
        pipe("B", (100, 0), (0, 0)),
        pipe("A", (200, 0), (100, 0), upstream_invert_m=52.0, downstream_invert_m=51.0),
    ]
    assert broken(reaches, [outfall(0, 0)], ground_at=flat(53.2)) == {}


def test_cover_under_a_path_a_fairway_and_open_ground():
    # 300 mm bore and 22.5 mm of wall: the crown lies 0.3225 m above the invert, 51 to 50 m.
    line = pipe("A", (0, 0), (100, 0))
    path = Surface("path W1", "path", box(49, -5, 51, 5))
    check = check_drains([line], [outfall(100, 0)], STORM)
    # Ground 1.1 m above the invert everywhere: 0.779 m of cover, less than the 0.9 m of a path.
    (found,) = check_tidy(check, [path], ground_at=lambda x, y: 51 - x / 100 + 1.1)
    assert found.rule == "cover"
    assert "0.78 m of cover under path W1" in found.words
    assert 49 <= found.chainage_m <= 51
    assert found.place[0] == pytest.approx(found.chainage_m)
    assert [row["value"] for row in found.working.as_rows()][2] == "0.779"
    fairway = Surface("fairway F1", "fairway", box(-1, -5, 101, 5))
    assert check_tidy(check, [fairway], ground_at=flat(51.93)) == ()
    (found,) = check_tidy(check, [fairway], ground_at=flat(51.8))
    assert found.chainage_m == 0.0
    assert "0.48 m of cover under fairway F1" in found.words
    (found,) = check_tidy(check, [], ground_at=flat(51.7))
    assert "0.38 m of cover in open ground" in found.words
    (found,) = check_tidy(check, [], ground_at=flat(51.0))
    assert "out of the ground" in found.words


def test_where_a_path_lies_on_a_fairway_the_path_rules():
    check = check_drains([pipe("A", (0, 0), (100, 0))], [outfall(100, 0)], STORM)
    over = [
        Surface("path W1", "path", box(9, -5, 21, 5)),
        Surface("fairway F1", "fairway", box(-1, -5, 101, 5)),
    ]
    (found,) = check_tidy(check, over, ground_at=flat(52.0))
    assert "under path W1" in found.words
    (again,) = check_tidy(check, over[::-1], ground_at=flat(52.0))
    assert again.words == found.words


def test_no_cover_is_asked_beside_an_open_end():
    check = check_drains([pipe("A", (0, 0), (100, 0))], [outfall(100, 0)], STORM)

    def bank(x, y):
        return np.where(x > 95.5, 50.1, 53.0)

    assert check_tidy(check, ground_at=bank) == ()
    (found,) = check_tidy(check, limits=TidyLimits(cover_free_m=0), ground_at=bank)
    assert found.rule == "cover"


def test_a_drain_too_slow_to_keep_itself_clean():
    slow = pipe("A", (0, 0), (100, 0), downstream_invert_m=50.9, section=PipeSection(0.15))
    found = broken([slow], [outfall(100, 0)])["velocity"]
    assert found.working.steps[1].value == 0.7


# BS EN 16933-2 (second-hand): a drain below 300 mm laid no flatter than 1 in its bore in mm runs
# at 0.7 m/s or more.
@pytest.mark.parametrize("bore_mm", [100, 150, 225])
def test_a_drain_at_one_in_its_bore_keeps_itself_clean(bore_mm):
    laid = pipe(
        "A", (0, 0), (bore_mm, 0), downstream_invert_m=50.0, section=PipeSection(bore_mm / 1000)
    )
    assert broken([laid], [outfall(bore_mm, 0)]) == {}


def test_steps_in_size_and_level():
    lower = pipe("B", (100, 0), (0, 0), section=PipeSection(0.225))
    upper = pipe("A", (200, 0), (100, 0), upstream_invert_m=53.0, downstream_invert_m=51.8)
    found = broken([lower, upper], [outfall(0, 0)])
    assert found.keys() == {"narrows", "drop"}
    assert found["narrows"].reach_keys == ("A", "B")
    assert "0.80 m above" in found["drop"].words
    low = pipe("A", (200, 0), (100, 0), upstream_invert_m=51.5, downstream_invert_m=50.9)
    found = broken([pipe("B", (100, 0), (0, 0)), low], [outfall(0, 0)])
    assert "0.10 m below the bed" in found["step_up"].words


def test_a_drop_into_an_open_ditch_needs_no_backdrop():
    lower = ditch("D", (100, 0), (0, 0))
    upper = pipe("A", (200, 0), (100, 0), upstream_invert_m=53.0, downstream_invert_m=51.8)
    assert "drop" not in broken([lower, upper], [outfall(0, 0)])


def crossing(level):
    """A pipe from 51 to 50 m and one over or under it, half way along."""
    return [
        pipe("A", (0, 0), (100, 0)),
        pipe(
            "X", (50, -50), (50, 50), upstream_invert_m=level + 0.5, downstream_invert_m=level - 0.5
        ),
    ]


def test_pipes_that_cross_closer_than_is_kept():
    # A's outside lies at 50.5 - 0.021 to 50.821 where they cross.
    nodes = [outfall(100, 0), outfall(50, 50, "O2")]
    assert "crossing" not in broken(crossing(51.2), nodes)
    assert "crossing" not in broken(crossing(49.9), nodes)
    found = broken(crossing(50.9), nodes)["crossing"]
    # X from 50.879: 58 mm clear.
    assert "0.06 m clear" in found.words
    assert found.place == (50, 0)
    assert found.chainage_m == 50
    assert "at the same level" in broken(crossing(50.6), nodes)["crossing"].words


def test_drains_that_join_do_not_cross():
    reaches = [
        pipe("B", (100, 0), (0, 0)),
        pipe("A", (50, 60), (50, 0), upstream_invert_m=52.0, downstream_invert_m=50.6),
    ]
    assert "crossing" not in broken(reaches, [outfall(0, 0)])


def test_buried_services():
    check = check_drains([pipe("A", (0, 0), (100, 0))], [outfall(100, 0)], STORM)
    line = LineString([(30, -20), (30, 20)])
    # The drain's outside lies at 50.679 to 51.021 there.
    unknown = Buried("s", "irrigation main SV1", line)
    (found,) = check_tidy(check, buried=[unknown])
    assert found.rule == "unknown"
    assert "Find it before digging" in found.words
    assert (found.place, found.chainage_m, found.service_key) == ((30, 0), 30, "s")
    deep = Buried("s", "main", line, centre_level_m=50.0, outside_m=0.1)
    assert check_tidy(check, buried=[deep]) == ()
    near = Buried("s", "main", line, centre_level_m=50.5, outside_m=0.1)
    (found,) = check_tidy(check, buried=[near])
    assert "0.13 m clear" in found.words
    shallow = Buried("s", "main", line, depth_m=0.6, outside_m=0.11)
    # Ground 52 m: its underside lies at 51.29, 0.27 m over the drain.
    (found,) = check_tidy(check, buried=[shallow], ground_at=flat(52.0))
    assert "0.27 m clear" in found.words
    (found,) = check_tidy(check, buried=[shallow])
    assert found.rule == "unknown"


def test_limits_that_cannot_be():
    with pytest.raises(ValueError, match="crossing_m"):
        TidyLimits(crossing_m=-1)


def test_two_thousand_drains_are_gone_through_in_seconds():
    reaches = [
        pipe(f"{n}", (100 * (n % 50), 30 * (n // 50)), (100 * (n % 50) + 90, 30 * (n // 50)))
        for n in range(2000)
    ]
    check = check_drains(reaches, [], STORM)
    fairways = [Surface(f"F{n}", "fairway", box(100 * n, 0, 100 * n + 50, 1200)) for n in range(50)]
    start = time.process_time()
    found = check_tidy(check, fairways, ground_at=flat(51.5))
    assert len(found) >= 2000
    assert time.process_time() - start < 3


def test_a_ditch_that_comes_out_of_the_ground_between_its_ends_is_named():
    """Bed 51 to 50 m, 0.9 m deep; the ground dips below it half way."""
    line = ditch("D", (0, 0), (100, 0))

    def dips(x, y):
        return 51 - x / 100 + 0.9 - 1.1 * np.exp(-(((x - 50) / 10) ** 2))

    found = broken([line], [outfall(100, 0)], ground_at=dips)["shallow"]
    assert "its bed lies 0.19 m above the ground beside it at 49 m along" in found.words
    assert found.place[0] == pytest.approx(50, abs=1)
    even = broken([line], [outfall(100, 0)], ground_at=lambda x, y: 51 - x / 100 + 0.9)
    assert "shallow" not in even
    low = broken([line], [outfall(100, 0)], ground_at=lambda x, y: 51 - x / 100 + 0.4)
    assert "lower bank stands only 0.40 m above its bed" in low["shallow"].words
    unknown = broken([line], [outfall(100, 0)], ground_at=lambda x, y: np.full(len(x), np.nan))
    assert unknown == {}
