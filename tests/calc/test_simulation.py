"""Simulated ranges: the same seed the same answer, causes that pull, drivers that add up, bad input."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from worksprog.calc.ranges import Shape, ThreePoint, mean_and_sd
from worksprog.calc.simulation import (
    Job,
    Spread,
    Sway,
    Uncertain,
    UncertainLine,
    simulate,
)
from worksprog.calc.simulation.curves import FIRST_Z, Z_STEP, curve_table


def figure(low: float, likely: float, high: float, name: str, *sways: Sway) -> Uncertain:
    return Uncertain(ThreePoint(low, likely, high), name, sways)


def sure(value: float) -> Uncertain:
    return figure(value, value, value, "")


def digging(key: str, *sways: Sway, winter: str = "winter 1") -> Job:
    """60 to 90 m³ at 4 to 9 m³ an hour, the crew's own hour at 20 to 24."""
    lines = (
        UncertainLine(
            f"{key} dig",
            "dig",
            figure(60, 70, 90, f"{key} quantity", *sways),
            figure(20, 21, 24, "hour of labour", *sways),
            figure(4, 7, 9, f"{key} output", *sways),
            own_crew=True,
        ),
        UncertainLine(
            f"{key} stone",
            "stone",
            figure(30, 32, 40, f"{key} stone", *sways),
            figure(25, 28, 40, "stone price", *sways),
        ),
    )
    return Job(key, key, lines, {"project": 1.0, winter: 1.0})


WEATHER = Sway("weather", 0.4)


def test_same_seed_same_answer_whatever_the_threads_and_the_company():
    jobs = [digging(f"job {i}", WEATHER, winter=f"winter {i % 3}") for i in range(40)]
    one = simulate(jobs, seed=5, draws=1000, threads=1)
    assert simulate(jobs, seed=5, draws=1000, threads=4) == one
    assert simulate(jobs, seed=6, draws=1000, threads=1).total != one.total
    alone = simulate(jobs[17:18], seed=5, draws=1000)
    assert alone.jobs["job 17"] == one.jobs["job 17"]
    turned = simulate(jobs[::-1], seed=5, draws=1000)
    assert turned.jobs == one.jobs
    assert turned.total.money.within(0.8) == pytest.approx(one.total.money.within(0.8), rel=1e-12)


def test_fewer_draws_are_the_beginning_of_more():
    from worksprog.calc.simulation.kernel import key_of, put_normals

    many, few = np.empty(1003), np.empty(101)
    put_normals(key_of(9, "luck"), many)
    put_normals(key_of(9, "luck"), few)
    assert (many[:101] == few).all()
    put_normals(key_of(9, "another"), few)
    assert abs(np.corrcoef(many[:101], few)[0, 1]) < 0.3


def test_groups_take_their_shares_and_the_crew_only_its_own_hours():
    first, second = digging("a"), digging("b")
    contractor = replace(
        second, lines=tuple(replace(line, own_crew=False) for line in second.lines)
    )
    halved = replace(contractor, shares={"project": 1.0, "winter 1": 0.25, "winter 2": 0.75})
    run = simulate([first, halved], seed=1, draws=2000)
    assert run.jobs["b"].hours.mean == 0
    assert run.total.hours.mean == pytest.approx(run.jobs["a"].hours.mean)
    winters = [run.groups[f"winter {n}"].money.mean for n in (1, 2)]
    assert winters[1] == pytest.approx(0.75 * run.jobs["b"].money.mean)
    assert sum(winters) == pytest.approx(run.total.money.mean)
    assert run.groups["project"] == run.total


def test_a_shared_cause_widens_the_whole_but_not_the_single_job():
    apart = simulate([digging(f"j{i}") for i in range(30)], seed=3, draws=4000)
    tied = simulate([digging(f"j{i}", WEATHER) for i in range(30)], seed=3, draws=4000)
    assert tied.total.money.sd > 1.3 * apart.total.money.sd
    assert tied.total.hours.sd > 2 * apart.total.hours.sd
    assert tied.jobs["j3"].hours.sd > apart.jobs["j3"].hours.sd  # less output, more to dig


def test_bad_luck_lowers_the_output():
    weather = Sway("weather", 1.0)
    line = UncertainLine(
        "dig",
        "dig",
        figure(50, 60, 90, "q", weather),
        sure(20),
        figure(4, 7, 9, "o", weather),
        own_crew=True,
    )
    run = simulate([Job("j", "j", (line,))], seed=1, draws=5000)
    most = mean_and_sd(ThreePoint(50, 60, 90), Shape.BETA_PERT)[0] / 4
    assert run.total.hours.within(0.99) > most, "high quantity meets low output"


def test_lines_shares_add_up_and_the_largest_is_first():
    small = UncertainLine("s", "small", figure(9, 10, 11, "s"), sure(1))
    large = UncertainLine("l", "large", figure(50, 100, 200, "l"), sure(1))
    fixed = UncertainLine("f", "fixed", sure(40), sure(1))
    run = simulate([Job("j", "j", (small, large, fixed))], seed=2, draws=5000)
    shares = run.drivers[""].money_lines
    assert shares[0].label == "large"
    assert sum(one.share for one in shares) == pytest.approx(1.0)
    assert next(one.share for one in shares if one.label == "fixed") == 0
    assert run.drivers[""].hours_lines[0].share == 0, "no crew hours, nothing to drive"
    assert run.drivers[""].hours_sources == ()
    named = run.drivers[""].money_sources
    assert [one.source for one in named] == ["l"] and named[0].share > 0.95


def test_the_cause_that_pulls_most_is_named_first():
    jobs = [
        digging(f"j{i}", Sway("weather", 0.5), Sway("hands", 0.05), winter=f"winter {i % 2}")
        for i in range(20)
    ]
    run = simulate(jobs, seed=4, drivers_of=("", "winter 1", "no such group"))
    for group in ("", "winter 1"):
        sources = run.drivers[group].hours_sources
        assert sources[0].source == "weather" and sources[0].is_cause
        assert sources[1].source == "hands"
        assert sources[0].share > 5 * sources[1].share
        assert sum(one.share for one in sources) <= 1.05
    assert set(run.drivers) == {"", "winter 1"}
    assert {one.job for one in run.drivers["winter 1"].money_lines} == {
        f"j{i}" for i in range(1, 20, 2)
    }


def test_all_certain_is_told_as_certain():
    line = UncertainLine("f", "fixed", sure(40), sure(3), sure(8), own_crew=True)
    run = simulate([Job("j", "j", (line,))], seed=2, draws=100)
    assert run.total.hours.within(0.1) == run.total.hours.within(0.9) == 5
    assert run.total.money.sd == 0 and run.total.money.chance_within(15) == 1
    assert run.total.money.chance_within(14.99) == 0
    assert run.total.money.standard_error(0.8) == 0


@pytest.mark.parametrize("shape", Shape)
def test_tables_follow_the_curves(shape):
    for points in ((1, 1, 4), (1, 3, 4), (0, 8, 8), (2, 2.001, 9), (5, 5, 5)):
        point = ThreePoint(*points)
        table = curve_table(point, shape)
        assert (np.diff(table) >= 0).all()
        assert point.low <= table[0] and table[-1] <= point.high
        z = FIRST_Z + Z_STEP * np.arange(len(table))
        weights = np.exp(-z * z / 2) / np.exp(-z * z / 2).sum()
        mean, sd = mean_and_sd(point, shape)
        assert float(weights @ table) == pytest.approx(mean, abs=1e-4 * (point.high or 1))
        assert float(weights @ (table - mean) ** 2) ** 0.5 == pytest.approx(sd, abs=1e-3)


def test_what_cannot_be_is_refused_in_words():
    with pytest.raises(ValueError, match="must rise"):
        figure(3, 2, 1, "q")
    with pytest.raises(ValueError, match="must be numbers"):
        figure(1, float("nan"), 3, "q")
    with pytest.raises(ValueError, match="'dig': the output must be above 0 an hour"):
        UncertainLine("d", "dig", sure(3), sure(1), figure(0, 1, 2, "o"))
    with pytest.raises(ValueError, match="'dig': the quantity must not be below 0"):
        UncertainLine("d", "dig", figure(-1, 1, 2, "q"), sure(1))
    with pytest.raises(ValueError, match="'dig': the price must not be below 0"):
        UncertainLine("d", "dig", sure(3), figure(-1, 1, 2, "p"))
    with pytest.raises(ValueError, match="together take 130% of its sway"):
        figure(1, 2, 3, "q", Sway("weather", 0.7), Sway("ground", 0.6))
    with pytest.raises(ValueError, match="once, not twice"):
        figure(1, 2, 3, "q", Sway("weather", 0.2), Sway("weather", 0.1))
    with pytest.raises(ValueError, match="share lies between 0 and 1"):
        Sway("weather", 1.2)
    with pytest.raises(ValueError, match="its share in winter 1 lies between"):
        Job("j", "Ditch", (), {"winter 1": 1.5})
    with pytest.raises(ValueError, match="no job has an estimate"):
        simulate([], seed=1)
    with pytest.raises(ValueError, match=r"From 100 to 100,000 draws"):
        simulate([digging("a")], seed=1, draws=99)
    with pytest.raises(ValueError, match="seed is a whole number from 0"):
        simulate([digging("a")], seed=-1)
    with pytest.raises(ValueError, match="stands there twice"):
        simulate([digging("a"), digging("a")], seed=1)


def test_reading_a_spread():
    spread = Spread(50, 29, tuple(float(n) for n in range(1, 100)), 10_000)
    assert spread.within(0.8) == pytest.approx(80)
    assert spread.within(0.805) == pytest.approx(80.5)
    assert spread.within(0.99) == 99
    assert spread.chance_within(80.5) == pytest.approx(0.805)
    assert spread.contingency(45, 0.8) == pytest.approx(35)
    assert spread.standard_error(0.8) == pytest.approx(0.4)
    for chance in (0.0, 1.0, 0.995):
        with pytest.raises(ValueError, match="1 to 99 %"):
            spread.within(chance)
    with pytest.raises(ValueError, match="3 to 97 %"):
        spread.standard_error(0.98)


def test_it_tells_how_far_it_is():
    told: list[tuple[float, str]] = []
    simulate(
        [digging(f"j{i}") for i in range(20)],
        seed=1,
        draws=200,
        tell=lambda percent, words: told.append((percent, words)),
    )
    assert told[-1] == (85, "Ranking what drives the spread")
    assert [percent for percent, _ in told] == sorted(percent for percent, _ in told)
