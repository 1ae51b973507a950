"""What size, what fall, how deep: the cheapest design of a branch of drains, and taking it over."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from worksprog.calc.build_up import to_penny
from worksprog.calc.sizing import Answer, Design, Parts, capacity_working, cost_working
from worksprog.clubs.door import ClubRequest, club_page
from worksprog.drainage.queries import check_network
from worksprog.runs.models import Run, RunState
from worksprog.runs.services import request_run
from worksprog.works.bridge_sizing import CannotSize, with_design
from worksprog.works.drawing_sizing import draw_beside
from worksprog.works.forms.sizing import SizingForm
from worksprog.works.queries import sizing as queries_sizing
from worksprog.works.queries.sizing import AT_ONCE, Task
from worksprog.works.services.sizing import take_over_design

PARTS = (
    ("pipe", "Pipe"),
    ("trench", "Trench: dig, put back, take off"),
    ("depth_extra", "Extra for depth"),
    ("bedding", "Stone, bed and surround"),
    ("line", "Set out, lay, make good"),
    ("chamber", "Chambers"),
)
SAVES_FROM = 0.5  # money below which an eased limit is said to cost nothing
SETTLED = 0.005
NODE_OFF_M = 0.02


@require_GET
@club_page("works.read")
def sizing_list(request: ClubRequest) -> HttpResponse:
    """The branches with pipes to be sized."""
    check = check_network(request.club)
    found = queries_sizing.branches(check, queries_sizing.open_pipes(request.club))
    return render(
        request, "works/sizing_list.html", {"branches": found, "sheet_name": "Sizes of drains"}
    )


@require_http_methods(["GET", "POST"])
@club_page("works.read", change="drainage.design")
def sizing(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """A GET sizes the branch above a reach within the limits given; a POST takes a design over."""
    given = request.POST if request.method == "POST" else request.GET
    form = SizingForm(given if "least_cover_m" in given else SizingForm.usual())
    check = check_network(request.club)
    if str(uuid) not in check.given:
        raise Http404
    root = check.reach(str(uuid))
    context: dict[str, Any] = {
        "form": form,
        "root": root,
        "may_design": request.may("drainage.design"),
        "sheet_name": f"Sizes above {root.downstream_name}",
    }
    if not form.is_valid():
        return render(request, "works/sizing.html", context, status=422)
    try:
        task = queries_sizing.task_for(
            request.club,
            uuid,
            form.limits(),
            inside_share=form.cleaned_data["inside_share"],
            check=check,
        )
    except CannotSize as error:
        context["cannot"] = str(error)
        return render(request, "works/sizing.html", context)
    kept = _kept(request, given.get("run", ""), task)
    status = 200
    if request.method == "POST":
        if given.get("seen") != task.seen:
            context["stale"] = True
            status = 409
        else:
            answer = kept or task.solve()
            try:
                _take_over(request, task, answer, given.get("which", "best"))
                return redirect("works:sizing", request.club.slug, uuid)
            except ValidationError as error:
                context["refused"] = error.messages
                status = 409
    context |= {
        "task": task,
        "figures": _figures(form),
        "query": urlencode(_figures(form)),
        "not_confirmed": task.not_confirmed,
        "run_asked": given.get("run", "") and kept is None,
    }
    if kept is None and task.open_count > AT_ONCE:
        context["as_job"] = True
        return render(request, "works/sizing.html", context, status=status)
    context["run"] = given.get("run", "") if kept is not None else ""
    context |= _shown(task, kept or task.solve(), form, request.GET.get("reach", ""))
    return render(request, "works/sizing.html", context, status=status)


@require_POST
@club_page("drainage.design")
def sizing_run(request: ClubRequest, uuid: UUID) -> HttpResponse:
    """Ask for a large branch to be sized as a job."""
    form = SizingForm(request.POST)
    if not form.is_valid():
        address = reverse("works:sizing", args=[request.club.slug, uuid])
        entered = {name: request.POST.get(name, "") for name in form.fields}
        return redirect(f"{address}?{urlencode(entered)}")
    run = request_run(
        club=request.club,
        kind="works.sizing",
        inputs={"root": str(uuid), "figures": _figures(form)},
        by=request.user,
    )
    return redirect("runs:run", request.club.slug, run.uuid)


def _figures(form: SizingForm) -> dict[str, str]:
    """The limits as they travel on in addresses and forms."""
    return {name: str(value) for name, value in form.cleaned_data.items()}


def _kept(request: ClubRequest, wanted: str, task: Task) -> Answer | None:
    """The answer of a finished job for the very same task; None otherwise."""
    try:
        uuid = UUID(wanted)
    except ValueError:
        return None
    run = Run.objects.filter(
        club=request.club, uuid=uuid, kind="works.sizing", state=RunState.DONE
    ).first()
    if run is None or run.outcome.get("seen") != task.seen:
        return None
    return queries_sizing.unpack(run.outcome["answer"], task)


def _take_over(request: ClubRequest, task: Task, answer: Answer, which: str) -> None:
    design = answer.second if which == "second" else answer.best
    if design is None:
        raise ValidationError("There is no such design. Nothing was written.")
    written = take_over_design(club=request.club, design=design, marks=task.marks, by=request.user)
    names = ", ".join(feature.ref or feature.title for feature in written)
    messages.success(
        request,
        f"Levels and bores of {len(written)} pipe{'s' if len(written) != 1 else ''} are now those "
        f"of the design: {names}. Estimates that measure them are out of date until they are "
        "worked out again.",
        "good",
    )
    off = _nodes_off(task, design)
    if off:
        messages.warning(
            request,
            f"The invert entered at {', '.join(off)} is another than its pipes' now: mend it there.",
        )


def _nodes_off(task: Task, design: Design) -> list[str]:
    """Nodes whose own invert no longer is the level at which the pipe leaves them."""
    off = []
    for one in design.reaches:
        for key in task.check.reach(one.key).upstream_node_keys if one.size else ():
            node = task.check.nodes[key]
            if node.invert_m is not None and abs(node.invert_m - one.upstream_m) > NODE_OFF_M:
                off.append(node.name)
    return off


def _for_what(designs: Sequence[Parts | None]) -> list[dict[str, Any]]:
    """Each part of each design's money to the penny, and the sums of what is shown."""
    rows: list[dict[str, Any]] = [
        {
            "label": label,
            "amounts": [
                None if money is None else to_penny(Decimal(repr(getattr(money, name))))
                for money in designs
            ],
        }
        for name, label in PARTS
    ]
    sums = [
        None if money is None else sum((row["amounts"][at] for row in rows), Decimal(0))
        for at, money in enumerate(designs)
    ]
    return [*rows, {"label": "Together", "amounts": sums, "is_total": True}]


def _shown(task: Task, answer: Answer, form: SizingForm, wanted: str) -> dict[str, Any]:
    shown: dict[str, Any] = {"answer": answer, "names": {}}
    if answer.best is None:
        return shown
    best = answer.best
    rows = queries_sizing.beside_now(task, best, answer.second)
    present = queries_sizing.present_money(task)
    chosen = next(
        (row.sized for row in rows if row.sized.key == wanted and row.sized.size),
        next(row.sized for row in rows if row.sized.size),
    )
    reach = next(one for one in answer.tree.reaches if one.key == chosen.key)
    after = with_design(task.check, best)
    inside = {one.key for one in best.reaches}
    return {
        **shown,
        "rows": rows,
        "changes": any(row.changes for row in rows),
        "for_what": _for_what(
            [best.money, answer.second.money if answer.second else None, present]
        ),
        "saving": None if present is None else present.total - best.money.total,
        "dearer": None if answer.second is None else answer.second.money.total - best.money.total,
        "differs": [row for row in rows if row.other and row.other.size != row.sized.size],
        "eased": sorted(answer.eased, key=lambda one: -(one.saved or 0.0)),
        "saves_from": SAVES_FROM,
        "settled": answer.flow_short <= SETTLED,
        "figure": draw_beside(answer.tree, best, task.check),
        "chosen": chosen,
        "workings": (
            capacity_working(reach, chosen, form.limits()),
            cost_working(reach, chosen, task.priced.costing),
        ),
        "check_says": [
            finding.words for finding in after.findings if inside & set(finding.reach_keys)
        ],
    }
