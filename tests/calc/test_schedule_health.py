"""The points and practices of a plan's health on small plans counted by hand."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from worksprog.calc.critical_path import Link, LinkKind
from worksprog.calc.schedule_health import (
    Job,
    Kept,
    Verdict,
    execution_index,
    fourteen_points,
    moves_with_its_path,
    path_length_index,
    ten_practices,
)

D = dt.date
TODAY = D(2026, 9, 7)


def job(key: str, start: D, finish: D, days: int, **facts) -> Job:
    facts.setdefault("float_d", 0)
    return Job(key, f"job {key}", start, finish, days, **facts)


def chain() -> list[Job]:
    return [
        job("a", D(2026, 9, 7), D(2026, 9, 11), 5),
        job("b", D(2026, 9, 14), D(2026, 9, 18), 5),
        job("c", D(2026, 9, 21), D(2026, 9, 25), 5),
    ]


LINKS = [Link("a", "b"), Link("b", "c")]
GOOD = Kept((), (), (), 10_000, 1, 0, "Agreed")


def points(jobs=None, links=LINKS, **facts):
    facts.setdefault("length_d", 15)
    facts.setdefault("end_float_d", 10)
    made = fourteen_points(chain() if jobs is None else jobs, links, today=TODAY, **facts)
    assert [one.number for one in made] == list(range(1, 15))
    return {one.number: one for one in made}


def test_a_chain_in_order_has_nothing_to_mend():
    made = points()
    assert [one.number for one in made.values() if one.verdict == Verdict.MEND] == []
    assert made[4].figure == 100 and made[12].figure == 600
    assert made[11].verdict == made[14].verdict == Verdict.UNKNOWN


def test_jobs_at_a_loose_end_are_named():
    made = points(links=[Link("a", "b")])
    assert made[1].verdict == Verdict.MEND
    assert made[1].mend == ("job b: nothing waits for it", "job c: waits for nothing")
    assert made[1].figure == pytest.approx(200 / 3)


def test_leads_lags_and_other_kinds_of_link():
    made = points(links=[Link("a", "b", lag=-2), Link("b", "c", LinkKind.START_START, 3)])
    assert made[2].mend == ("job a → job b (FS -2 days)",)
    assert made[3].figure == 50 and made[3].verdict == Verdict.MEND
    assert made[4].figure == 50 and made[4].mend == ("job b → job c (SS +3 days)",)


def test_floats_long_jobs_and_the_setting():
    jobs = chain()
    jobs[0] = replace(jobs[0], days=45, float_d=-3, is_hard=True)
    jobs[1] = replace(jobs[1], float_d=45)
    made = points(jobs)
    assert made[5].figure == pytest.approx(100 / 3)
    assert made[6].mend == ("job b (45 days)",)
    assert made[7].mend == ("job a (-3 days)",)
    assert made[8].mend == ("job a (45 days)",)
    assert points(jobs, long_days=45)[8].verdict == Verdict.KEPT
    assert points(jobs, long_days=45)[6].verdict == Verdict.KEPT
    with pytest.raises(ValueError, match="1 day or more"):
        points(jobs, long_days=0)


def test_dates_that_cannot_be():
    jobs = chain()
    jobs[0] = replace(jobs[0], start=D(2026, 9, 4))
    jobs[1] = replace(jobs[1], is_begun=True, started_on=D(2026, 9, 8))
    jobs[2] = replace(jobs[2], started_on=D(2026, 9, 3), finished_on=D(2026, 9, 2), is_done=True)
    assert [words.split(":")[0] for words in points(jobs)[9].mend] == ["job a", "job b", "job c"]
    assert points()[9].verdict == Verdict.KEPT


def test_jobs_due_by_the_baseline():
    jobs = [
        replace(chain()[0], is_done=True, finished_on=D(2026, 9, 4), has_baseline=True,
                baseline_finish=D(2026, 9, 4)),
        replace(chain()[1], is_done=True, finished_on=D(2026, 9, 5), has_baseline=True,
                baseline_finish=D(2026, 9, 3)),
        replace(chain()[2], has_baseline=True, baseline_finish=D(2026, 9, 7)),
    ]  # fmt: skip
    made = points(jobs)
    assert made[11].mend == ("job b", "job c")
    assert made[14].figure == pytest.approx(2 / 3) and made[14].mend == ("job c",)


def test_nothing_to_count_is_not_a_fault():
    made = points([], [], length_d=0, end_float_d=0)
    assert {one.verdict for one in made.values()} == {Verdict.UNKNOWN}


def test_a_job_off_the_path_does_not_move_the_end():
    durations = [("a", 5.0), ("b", 700.0), ("c", 1.0)]
    assert moves_with_its_path(durations, [Link("a", "c")])
    assert not moves_with_its_path(durations, [Link("a", "c")], key="c")
    assert not moves_with_its_path([], [])


def test_the_two_indices_refuse_nothing_to_divide_by():
    with pytest.raises(ValueError, match="above 0 days"):
        path_length_index(0, 3)
    with pytest.raises(ValueError, match="due yet"):
        execution_index(3, 0)


def test_practices_follow_the_points_and_what_is_kept():
    made = list(points().values())
    practices = ten_practices(made, GOOD)
    assert [one.number for one in practices] == list(range(1, 11))
    assert [one.number for one in practices if one.verdict == Verdict.MEND] == []
    bare = Kept(("job d",), ("week of 7 Sep 2026",), ("c does not wait for b",), None, None, 40, "")
    wrong = [one for one in ten_practices(made, bare) if one.verdict == Verdict.MEND]
    assert [one.number for one in wrong] == [1, 3, 5, 8, 9, 10]
    loose = ten_practices(list(points(links=[Link("a", "b")]).values()), GOOD)
    assert loose[1].mend == ("point 1, order",)
