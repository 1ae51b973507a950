"""What the hours teach: kinds of work, one kind with its arithmetic, and whether ranges held."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from worksprog.calc.charts_rates import RangeRow, range_chart
from worksprog.clubs.door import ClubRequest, club_page, get_row
from worksprog.hours.forms import EvidenceForm
from worksprog.hours.models import EvidenceWord
from worksprog.hours.queries.calibration import Accuracy, accuracy
from worksprog.hours.queries.evidence import JobFacts
from worksprog.hours.queries.rates import KindRates, by_count, learnt_rates, rates_of
from worksprog.hours.services_rates import adopt_rate, say_of_evidence
from worksprog.hours.words import unit_words
from worksprog.works.models import Item
from worksprog.works.services import go_back_to_book

SMALLEST = 0.05


@require_safe
@club_page("progress.read")
def rates(request: ClubRequest) -> HttpResponse:
    rows = learnt_rates(request.club)
    found = [row for row in rows if row.has_evidence or row.with_hours]
    context = {
        "rows": found,
        "silent": [row for row in rows if row not in found],
        "in_use": sum(row.in_use is not None for row in rows),
        "sheet_name": "What the hours teach",
    }
    return render(request, "hours/rates.html", context)


def _job_rows(rates: KindRates) -> list[dict[str, Any]]:
    """Each job with hours, as the table and the chart show it."""
    judged = rates.judged
    rows = []
    for facts in rates.with_hours:
        evidence = facts.evidence
        assert evidence is not None
        seen = judged.get(evidence.job.key)
        rows.append(
            {
                "facts": facts,
                "evidence": evidence,
                "judged": seen,
                "weight": seen.weight if seen is not None else 0.0,
                "counts": seen is not None,
                "left_out": evidence.job.choice == "left_out",
                "h_a_unit": evidence.whole.hours / evidence.quantity
                if evidence.whole is not None and evidence.quantity
                else None,
                "book_h_a_unit": evidence.whole.book_h / evidence.quantity
                if evidence.whole is not None and evidence.quantity
                else None,
            }
        )
    return rows


def _rates_chart(rates: KindRates) -> dict[str, Any]:
    learnt = rates.learnt
    says, told = learnt.book_says, learnt.next
    rows = [RangeRow("The book alone", says.p10, says.median, says.p90, words="before any hours")]
    for one in rates.with_hours:
        evidence = one.evidence
        if evidence is None or not evidence.ratio or evidence.ratio < SMALLEST:
            continue
        seen = rates.judged.get(evidence.job.key)
        words = evidence.why_not or f"weight {seen.weight:.2f}" if seen else evidence.why_not
        rows.append(
            RangeRow(evidence.job.name, actual=evidence.ratio, filled=seen is not None, words=words)
        )
    rows.append(RangeRow("The next job", told.p10, told.median, told.p90, heavy=True))
    for name, here in learnt.on_ground:
        ground = "on dry ground" if name == "dry" else "in showers"
        rows.append(RangeRow(f"The next job, {ground}", here.p10, here.median, here.p90))
    return range_chart(
        rows, axis="hours over hours of the book", mark=1.0, mark_words="as the book says"
    )


@require_safe
@club_page("progress.read")
def rate(request: ClubRequest, kind: str) -> HttpResponse:
    rates = rates_of(request.club, kind)
    if rates is None:
        raise Http404
    unit = unit_words(kind, rates.unit)
    context = {
        "rates": rates,
        "learnt": rates.learnt,
        "unit": unit,
        "per_unit": f"h/{unit}" if unit else "h each",
        "rows": _job_rows(rates),
        "working": rates.learnt.working(),
        "book_estimates": len(rates.of_the_book),
        "by_count": by_count(rates),
        "may_plan": request.may("works.plan"),
        "charts": {"rates": _rates_chart(rates)} if rates.with_hours else {},
        "sheet_name": f"What the hours teach: {rates.title}",
    }
    return render(request, "hours/rate.html", context)


@require_POST
@club_page("progress.read", change="works.plan")
def adopt(request: ClubRequest, kind: str) -> HttpResponse:
    try:
        row = adopt_rate(club=request.club, kind=kind, as_of=request.club.today(), by=request.user)
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
        if rates_of(request.club, kind) is None:
            return redirect("hours:rates", request.club.slug)
    else:
        messages.success(
            request,
            f"In use from now on: {row.factor_likely:.2f} of the book’s hours. Forecasts go by it at "
            "once; an estimate that is not approved when it is worked out again.",
        )
    return redirect("hours:rate", request.club.slug, kind)


@require_POST
@club_page("progress.read", change="works.plan")
def give_up(request: ClubRequest, kind: str) -> HttpResponse:
    rates = rates_of(request.club, kind)
    if rates is None:
        raise Http404
    if rates.in_use is None:
        messages.warning(request, "No learnt rate of this kind is in use.")
    else:
        go_back_to_book(rate=rates.in_use, by=request.user)
        messages.success(request, "Back to the book; the learnt rate is kept, and not used.")
    return redirect("hours:rate", request.club.slug, kind)


@require_POST
@club_page("progress.read", change="works.plan")
def say(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Leave a job out, take it in, or say why it came out so."""
    item = get_row(Item.objects.select_related("club"), request.club, uuid)
    form = EvidenceForm(request.POST)
    try:
        if not form.is_valid():
            raise ValidationError("Say why in a few words, 300 letters at most.")
        word = say_of_evidence(item=item, by=request.user, **form.cleaned_data)
        messages.success(request, _SAID[EvidenceWord.What(word.what)].format(item=item))
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
    back = request.POST.get("back", "")
    if url_has_allowed_host_and_scheme(back, {request.get_host()}, request.is_secure()):
        return redirect(back)
    return redirect("hours:rate", request.club.slug, item.kind)


_SAID = {
    EvidenceWord.What.LEFT_OUT: "{item} is left out; the reason is kept. A rate in use stays as it "
    "is until you take the new one into use.",
    EvidenceWord.What.TAKEN_IN: "{item} is taken in, in full.",
    EvidenceWord.What.ACCOUNT: "Kept beside {item}.",
}


def _outcome_rows(told: Accuracy) -> list[RangeRow]:
    return [
        RangeRow(
            one.outcome.name,
            one.outcome.p10 / one.outcome.likely,
            1.0,
            one.outcome.p90 / one.outcome.likely,
            one.outcome.actual / one.outcome.likely,
            filled=one.counts,
            words=one.outcome.side if one.counts else "left out",
        )
        for one in told.told
    ]


@require_safe
@club_page("progress.read")
def calibration(request: ClubRequest) -> HttpResponse:
    told = accuracy(request.club)
    context: dict[str, Any] = {
        "told": told,
        "outcomes": list(reversed(told.told)),
        "calibration": told.calibration,
        "working": told.calibration.working(),
        "left_out": len(told.told) - told.calibration.count,
        "by_year": _by_year(told),
        "may_plan": request.may("works.plan"),
        "charts": {"outcomes": range_chart(
            _outcome_rows(told), axis="hours over the likely of the estimate", mark=1.0,
            mark_words="as estimated",
        )} if told.told else {},
        "sheet_name": "Did the ranges hold",
    }  # fmt: skip
    return render(request, "hours/calibration.html", context)


def _by_year(told: Accuracy) -> list[tuple[str, int, int]]:
    """Season by season (September to August): jobs finished, and inside."""
    seasons: dict[str, list[bool]] = {}
    for one in told.counted:
        seasons.setdefault(_season(one.facts), []).append(one.outcome.is_inside)
    return [(name, len(found), sum(found)) for name, found in sorted(seasons.items())]


def _season(facts: JobFacts) -> str:
    day: date | None = facts.item.finished_on
    if day is None:
        return "no day"
    year = day.year if day.month >= 9 else day.year - 1
    return f"{year}/{(year + 1) % 100:02}"
