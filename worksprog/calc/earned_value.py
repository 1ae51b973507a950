"""Earned value and earned schedule: was the plan kept, in hours or in money, and where does it end.

Nothing is rounded before it is used; a figure that the facts do not define is None. Terms and
formulas: common practice of earned value management (ISO 21508); earned schedule: W. Lipke, 2003.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from worksprog.calc.working import Step, Working

PRACTICE = "earned value, common practice (ISO 21508)"
LIPKE = "earned schedule, Lipke 2003"
UNDEFINED = "not defined"
_SAME = 1e-9


def _divide(above: float, below: float) -> float | None:
    return above / below if below else None


def _check(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} must be a finite number, got {value}")
        if value < 0:
            raise ValueError(f"{name} must not be negative, got {value}")


@dataclass(frozen=True)
class EarnedValue:
    """One set of earned-value figures, all in ``unit`` (h, or a currency) but the indices.

    bac  budget at completion     pv  planned value of the work due by the day
    ev   earned value: budget of the work done     ac  actual cost of the work done
    """

    bac: float
    pv: float
    ev: float
    ac: float
    unit: str

    @property
    def cost_variance(self) -> float:
        """CV = EV − AC; negative: more was put in than the work was to take."""
        return self.ev - self.ac

    @property
    def schedule_variance(self) -> float:
        """SV = EV − PV; negative: less is done than was planned by the day."""
        return self.ev - self.pv

    @property
    def cpi(self) -> float | None:
        """CPI = EV ÷ AC; None while nothing is spent."""
        return _divide(self.ev, self.ac)

    @property
    def spi(self) -> float | None:
        """SPI = EV ÷ PV; None while nothing is due."""
        return _divide(self.ev, self.pv)

    @property
    def eac_rest_at_plan(self) -> float:
        """EAC = AC + (BAC − EV): what is left goes as estimated."""
        return self.ac + self.bac - self.ev

    @property
    def eac_rest_as_so_far(self) -> float | None:
        """EAC = BAC ÷ CPI: what is left goes as the work did so far."""
        return _divide(self.bac, self.cpi) if self.cpi else None

    @property
    def eac_rest_as_so_far_and_late(self) -> float | None:
        """EAC = AC + (BAC − EV) ÷ (CPI × SPI): making up for the lag costs as well."""
        if not self.cpi or not self.spi:
            return None
        return self.ac + (self.bac - self.ev) / (self.cpi * self.spi)

    @property
    def etc(self) -> float | None:
        """ETC = EAC − AC, with the rest as so far."""
        eac = self.eac_rest_as_so_far
        return None if eac is None else eac - self.ac

    @property
    def vac(self) -> float | None:
        """VAC = BAC − EAC, with the rest as so far."""
        eac = self.eac_rest_as_so_far
        return None if eac is None else self.bac - eac

    @property
    def tcpi_to_budget(self) -> float | None:
        """TCPI = (BAC − EV) ÷ (BAC − AC); None once the budget is used up."""
        left = self.bac - self.ac
        return (self.bac - self.ev) / left if left > 0 else None

    @property
    def tcpi_to_forecast(self) -> float | None:
        """TCPI = (BAC − EV) ÷ (EAC − AC), with the rest as so far."""
        etc = self.etc
        return None if etc is None else _divide(self.bac - self.ev, etc)

    def workings(self) -> dict[str, Working]:
        """How each figure came about, by its name."""
        bac = Step("BAC", "budget at completion", self.bac, self.unit)
        pv = Step("PV", "planned value to the day", self.pv, self.unit)
        ev = Step("EV", "earned value to the day", self.ev, self.unit)
        ac = Step("AC", "actual cost to the day", self.ac, self.unit)
        cpi = Step("CPI", "cost index", _told(self.cpi), "", "EV ÷ AC", PRACTICE)
        spi = Step("SPI", "schedule index", _told(self.spi), "", "EV ÷ PV", PRACTICE)

        def result(symbol: str, meaning: str, value: float | None, formula: str) -> Step:
            unit = "" if symbol == "TCPI" or value is None else self.unit
            return Step(symbol, meaning, _told(value), unit, formula, PRACTICE)

        cv = result("CV", "cost variance", self.cost_variance, "EV − AC")
        sv = result("SV", "schedule variance", self.schedule_variance, "EV − PV")
        at_plan = result(
            "EAC", "at completion, rest as estimated", self.eac_rest_at_plan, "AC + (BAC − EV)"
        )
        so_far = result(
            "EAC", "at completion, rest as so far", self.eac_rest_as_so_far, "BAC ÷ CPI"
        )
        late = result(
            "EAC",
            "at completion, rest as so far and behind",
            self.eac_rest_as_so_far_and_late,
            "AC + (BAC − EV) ÷ (CPI × SPI)",
        )
        etc = result("ETC", "still to come", self.etc, "EAC − AC")
        vac = result("VAC", "variance at completion", self.vac, "BAC − EAC")
        tcpi = result(
            "TCPI", "index to keep for the budget", self.tcpi_to_budget, "(BAC − EV) ÷ (BAC − AC)"
        )
        return {
            "cost_variance": Working("Cost variance", (ev, ac, cv)),
            "schedule_variance": Working("Schedule variance", (ev, pv, sv)),
            "cpi": Working("Cost index", (ev, ac, cpi)),
            "spi": Working("Schedule index", (ev, pv, spi)),
            "eac_rest_at_plan": Working("At completion, rest as estimated", (bac, ev, ac, at_plan)),
            "eac_rest_as_so_far": Working(
                "At completion, rest as so far", (bac, ev, ac, cpi, so_far)
            ),
            "eac_rest_as_so_far_and_late": Working(
                "At completion, rest as so far and behind", (bac, ev, ac, cpi, spi, late)
            ),
            "etc": Working("Still to come", (ac, so_far, etc)),
            "vac": Working("Variance at completion", (bac, so_far, vac)),
            "tcpi": Working("Index to keep", (bac, ev, ac, tcpi)),
        }


def _told(value: float | None) -> float | str:
    return UNDEFINED if value is None else value


def earned_value(*, bac: float, pv: float, ev: float, ac: float, unit: str) -> EarnedValue:
    """The figures from the four that carry them. ValueError when one is negative or not finite."""
    _check(bac=bac, pv=pv, ev=ev, ac=ac)
    return EarnedValue(bac=bac, pv=pv, ev=ev, ac=ac, unit=unit)


@dataclass(frozen=True)
class EarnedSchedule:
    """Earned schedule, in periods of the plan.

    es  periods of the plan whose work is done     at  periods gone     pd  planned duration
    """

    es: float
    at: float
    pd: float

    @property
    def variance(self) -> float:
        """SV(t) = ES − AT; negative: behind by so many periods."""
        return self.es - self.at

    @property
    def index(self) -> float | None:
        """SPI(t) = ES ÷ AT; None before the first period."""
        return _divide(self.es, self.at)

    @property
    def forecast(self) -> float | None:
        """IEAC(t) = PD ÷ SPI(t): periods the whole will take; None while nothing is earned."""
        return _divide(self.pd, self.index) if self.index else None

    @property
    def index_to_keep(self) -> float | None:
        """TSPI = (PD − ES) ÷ (PD − AT); None once the planned end has passed."""
        left = self.pd - self.at
        return (self.pd - self.es) / left if left > 0 else None

    def working(self, period: str) -> Working:
        return Working(
            "Earned schedule",
            (
                Step("AT", "time gone", self.at, period),
                Step("PD", "planned duration", self.pd, period),
                Step(
                    "ES",
                    "time by which the plan had this much done",
                    self.es,
                    period,
                    "C + (EV − PV_C) ÷ (PV_C+1 − PV_C)",
                    LIPKE,
                ),
                Step("SV(t)", "ahead (+) or behind (−)", self.variance, period, "ES − AT", LIPKE),
                Step("SPI(t)", "schedule index in time", _told(self.index), "", "ES ÷ AT", LIPKE),
                Step(
                    "IEAC(t)",
                    "time the whole will take at this pace",
                    _told(self.forecast),
                    period if self.forecast is not None else "",
                    "PD ÷ SPI(t)",
                    LIPKE,
                ),
            ),
        )


def earned_schedule(pv_by_period: Sequence[float], *, ev: float, at: float) -> EarnedSchedule:
    """Periods of the plan that ``ev`` has earned: ES = C + (EV − PV_C) ÷ (PV_C+1 − PV_C).

    pv_by_period  planned value, cumulative, at the end of periods 1, 2, …; never falling
    ev            earned value now, same unit; at: periods gone

    C is the last whole period with PV_C ≤ EV. Where the plan rests (a summer without works) every
    time of the rest fits; the one nearest to now is taken, else a crew that is exactly on plan in
    June would count as months ahead. EV at or over the whole budget gives the planned duration:
    the first period by which the plan has everything done. ValueError when the plan is empty,
    falls, or holds nothing.
    """
    _check(ev=ev, at=at)
    plan = [0.0, *(float(value) for value in pv_by_period)]
    _check(**{f"planned value of period {n}": value for n, value in enumerate(plan)})
    if any(later < earlier for earlier, later in itertools.pairwise(plan)):
        raise ValueError("The planned value must not fall from one period to the next.")
    bac = plan[-1]
    if bac <= 0:
        raise ValueError("The plan holds no work, so there is no schedule to earn.")
    near = bac * _SAME
    duration = next(n for n, value in enumerate(plan) if value >= bac - near)
    if ev >= bac - near:
        return EarnedSchedule(es=float(duration), at=at, pd=float(duration))
    whole = max(n for n, value in enumerate(plan) if value <= ev + near)
    first = next(n for n, value in enumerate(plan) if value >= plan[whole] - near)
    if whole > first and abs(ev - plan[whole]) <= near:
        es = min(max(at, float(first)), float(whole))
    else:
        es = whole + max(0.0, ev - plan[whole]) / (plan[whole + 1] - plan[whole])
    return EarnedSchedule(es=es, at=at, pd=float(duration))


@dataclass(frozen=True)
class Progress:
    """How much of a job is done: ``share`` 0 to 1; ``over`` what was measured beyond the planned."""

    share: float
    over: float = 0.0


def measured_progress(*, measured: float, planned: float) -> Progress:
    """Share = measured ÷ planned, never over 1. ValueError without a planned quantity."""
    _check(measured=measured)
    if not planned > 0:
        raise ValueError(f"The planned quantity must be over 0, got {planned}")
    return Progress(share=min(measured / planned, 1.0), over=max(measured - planned, 0.0))


@dataclass(frozen=True)
class Planned:
    """When one job is planned: by hours in weeks where they are known, else evenly over its days.

    hours_by_week  Monday → hours; empty: evenly over the working days from start to finish
    """

    start: dt.date
    finish: dt.date
    hours_by_week: Mapping[dt.date, float]


def share_planned_by(planned: Planned, on: dt.date) -> float:
    """Share of the job that the plan has done at the end of day ``on``, 0 to 1.

    Within a week, and within a job without hours by week, evenly over Monday to Friday; a stretch
    without any such day evenly over all its days. ValueError when it finishes before it starts.
    """
    if planned.finish < planned.start:
        raise ValueError(f"The job finishes ({planned.finish}) before it starts ({planned.start}).")
    if on < planned.start:
        return 0.0
    if on >= planned.finish:
        return 1.0
    total = sum(planned.hours_by_week.values())
    if total <= 0:
        return _share_of_days(planned.start, planned.finish, on)
    done = 0.0
    for monday, hours in planned.hours_by_week.items():
        first = max(monday, planned.start)
        last = min(monday + dt.timedelta(days=6), planned.finish)
        if on >= last:
            done += hours
        elif on >= first:
            done += hours * _share_of_days(first, last, on)
    return min(done / total, 1.0)


def _share_of_days(first: dt.date, last: dt.date, on: dt.date) -> float:
    whole = _weekdays(first, last)
    if whole == 0:
        return ((on - first).days + 1) / ((last - first).days + 1)
    return _weekdays(first, on) / whole


def _weekdays(first: dt.date, last: dt.date) -> int:
    """Mondays to Fridays from ``first`` to ``last``, both counted."""
    days = (last - first).days + 1
    weeks, rest = divmod(days, 7)
    return weeks * 5 + sum((first.weekday() + n) % 7 < 5 for n in range(rest))
