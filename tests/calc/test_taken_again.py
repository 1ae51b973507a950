"""Levels taken twice at one place: the latest stands, and unlike ones are told."""

from __future__ import annotations

from worksprog.calc.taken_again import TakenAgain, Taking, taken_again


def at(chainage: float, height: float, by: str = "a", kind: str = "invert", batch: str = ""):
    return Taking(kind, (chainage,), height, 0.010, by, batch)


def test_the_latest_stands() -> None:
    told = taken_again([at(20, 0.3), at(20.4, 0.2), at(20, 0.1), at(22, 0)])
    assert [(one.earlier, one.later) for one in told] == [(0, 2), (1, 2)]
    assert not any(one.unlike for one in told)  # one person put it right
    assert taken_again([at(20, 0.3), at(20, 0.3, kind="cover")]) == []


def test_unlike_levels_of_two_people() -> None:
    (told,) = taken_again([at(15, 62.10, "a"), at(15, 62.30, "b")])
    assert told == TakenAgain(0, 1, told.apart_m, True)
    assert round(told.apart_m, 3) == 0.2
    (within,) = taken_again([at(15, 62.100, "a"), at(15, 62.114, "b")])  # ± 14.1 mm
    assert not within.unlike


def test_a_row_of_levels_a_step_apart_is_not_eaten_up() -> None:
    told = taken_again([at(10.0, 0), at(10.8, 0), at(11.6, 0)])
    assert [(one.earlier, one.later) for one in told] == [(1, 2)]


def test_points_of_one_file_may_stand_close() -> None:
    assert taken_again([at(10, 0, batch="s.csv"), at(10.5, 0, batch="s.csv")]) == []
    assert taken_again([at(10, 0, batch="s.csv"), at(10.01, 0, batch="s.csv")]) != []
    assert taken_again([at(10, 0, batch="s.csv"), at(10.5, 0, batch="t.csv")]) != []


def test_places_without_a_line() -> None:
    spots = [Taking("cover", place, 1.0, 0.01, "a") for place in ((0.0, 0.0), (0.6, 0.6), (3.0, 0))]
    assert [(one.earlier, one.later) for one in taken_again(spots)] == [(0, 1)]
