"""Pages of what runs off: coefficients and times, several days of rain, what may be let out."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from worksprog.calc.network import NetworkCheck
from worksprog.calc.rainfall import (
    SURFACES,
    balance_of_days,
    bransby_williams_min,
    curve_number_working,
    held_back,
    kirpich_min,
    nrcs_lag_tc_min,
)
from worksprog.calc.rainfall.time_to_gather import (
    SOURCE_BRANSBY,
    SOURCE_KIRPICH,
    SOURCE_NRCS_LAG,
)
from worksprog.calc.working import Step, Working
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.drainage.forms.rain import DaysForm, LetOutForm, TimesForm
from worksprog.drainage.queries import check_network, live_storm
from worksprog.drainage.queries.rain import design_rain_of
from worksprog.drainage.views.rain import shown

FIVE_DAYS_MM = "12 26 31 21 10"


@require_GET
@club_page("drainage.read")
def days(request: ClubRequest) -> HttpResponse:
    """Several days of rain, day by day, on the drain with least to spare unless told else."""
    asked = "days_mm" in request.GET
    usual: dict[str, Any] = {
        "days_mm": FIVE_DAYS_MM,
        "dry_days": 4,
        "area_ha": 10.0,
        "runoff_share": 0.5,
        "room_mm": 10.0,
        "soil_gives_mm_d": 7.0,
        "dries_mm_d": 0.3,
        "drain_l_s": 20.0,
    }
    place = ""
    if not asked:
        place = _tightest(check_network(request.club, over_ground=False), usual)
    form = DaysForm(request.GET if asked else usual)
    balance = None
    if form.is_valid():
        given = form.cleaned_data
        try:
            balance = balance_of_days(given["days_mm"], form.ground(), dry_days=given["dry_days"])
        except ValueError as error:
            form.add_error(None, str(error))
    return render(
        request,
        "drainage/rain_days.html",
        {
            "sheet_name": "Rain · several days",
            "form": form,
            "place": place,
            "balance": balance,
            "working": None if balance is None else shown(balance.working()),
        },
        status=422 if form.errors else 200,
    )


def _tightest(check: NetworkCheck, usual: dict[str, Any]) -> str:
    """Fill in area and capacity of the drain that passes least for its catchment; its name."""
    known = [
        (reach.capacity_m3s / reach.area_above_ha, reach)
        for reach in check.reaches
        if reach.area_above_ha and reach.capacity_m3s
    ]
    if not known:
        return ""
    _, least = min(known, key=lambda one: one[0])
    usual |= {
        "area_ha": round(least.area_above_ha or 0.0, 2),
        "drain_l_s": round((least.capacity_m3s or 0.0) * 1000, 1),
    }
    return least.name


@require_GET
@club_page("drainage.read")
def let_out(request: ClubRequest) -> HttpResponse:
    """The greenfield rate, and what must be held back to keep to it in the storm checked for."""
    asked = "area_ha" in request.GET
    form = LetOutForm(
        request.GET if asked else None,
        initial={"area_ha": 10.0, "saar_mm": 800, "soil_class": 4, "coefficient": 0.4},
    )
    rate, held, why_not = None, None, ""
    storm = live_storm(request.club)
    if asked and form.is_valid():
        try:
            rate = form.greenfield()
        except ValueError as error:
            form.add_error(None, str(error))
    if rate is not None:
        try:
            rain = design_rain_of(storm)
            if rain is None:
                why_not = "The design storm has one intensity only: it takes a table of depths."
            elif len(rain.durations_min) < 2:
                why_not = "The table has a single duration for this return period."
            else:
                held = held_back(
                    rain.intensities_mm_h,
                    coefficient=form.cleaned_data["coefficient"],
                    area_ha=rate.area_ha,
                    outflow_m3s=rate.qbar_m3s,
                    shortest_min=rain.durations_min[0],
                    longest_min=rain.durations_min[-1],
                )
        except ValueError as error:
            why_not = str(error)
    workings = [shown(one.working()) for one in (rate, held) if one is not None]
    return render(
        request,
        "drainage/let_out.html",
        {
            "sheet_name": "Drainage · what may be let out",
            "form": form,
            "rate": rate,
            "rates": [
                {"years": years, "factor": factor, "l_s": flow * 1000}
                for years, factor, flow in (rate.rates_m3s() if rate else ())
            ],
            "qbar_l_s": None if rate is None else rate.qbar_m3s * 1000,
            "held": held,
            "why_not": why_not,
            "storm": storm,
            "workings": workings,
        },
        status=422 if form.errors else 200,
    )


@require_GET
@club_page("drainage.read")
def run_off(request: ClubRequest) -> HttpResponse:
    """Coefficients by surface, and one way over the ground by every formula."""
    usual = {"length_m": 250, "fall_m": 5, "area_ha": 3, "curve_number": 80, "rain_mm": 50}
    form = TimesForm(request.GET if "length_m" in request.GET else usual)
    workings = []
    if form.is_valid():
        given = form.cleaned_data
        try:
            workings = [
                shown(_times(given)),
                shown(curve_number_working(given["rain_mm"], given["curve_number"])),
            ]
        except ValueError as error:
            form.add_error(None, str(error))
    return render(
        request,
        "drainage/run_off.html",
        {
            "sheet_name": "Drainage · run-off",
            "form": form,
            "surfaces": SURFACES,
            "workings": workings,
        },
        status=422 if form.errors else 200,
    )


def _times(given: dict[str, float]) -> Working:
    length, area, number = given["length_m"], given["area_ha"], given["curve_number"]
    gradient = given["fall_m"] / length
    steps = [
        Step("L", "longest way over the ground", length, "m"),
        Step("S", "its mean gradient", gradient, "m/m", "fall / length"),
        Step("tc", "by Bransby-Williams",
             bransby_williams_min(length_m=length, area_ha=area, gradient=gradient), "min",
             "14.6 L A^-0.1 S^-0.2 (km, km²)", SOURCE_BRANSBY),
        Step("tc", "by Kirpich", kirpich_min(length_m=length, gradient=gradient), "min",
             "0.0195 L^0.77 S^-0.385", SOURCE_KIRPICH),
    ]  # fmt: skip
    notes = [
        "Two formulas that agree are worth more than either; each was found on its own fields."
    ]
    if 50 <= number <= 95:
        tc = nrcs_lag_tc_min(length_m=length, gradient=gradient, curve_number=number)
        steps.append(
            Step("tc", "by the NRCS lag", tc, "min",
                 "L^0.8 (1000/CN - 9)^0.7 / (1140 Y^0.5) h (ft, %)", SOURCE_NRCS_LAG)
        )  # fmt: skip
    else:
        notes.append(f"The NRCS lag holds for curve numbers 50 to 95, not {number:g}.")
    return Working("Time of concentration", tuple(steps), tuple(notes))
