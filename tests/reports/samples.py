"""Figures as the gathering hands them over, made up by hand: what rendering is tested with."""

from __future__ import annotations

from copy import deepcopy
from itertools import pairwise
from typing import Any

_PROJECTS = [
    ("P1", "Brook carrier drain", 0.58, "312.0", 540.0, "21940.00", "38500.00", "39860.00"),
    ("P2", "Tee 8 rebuild", 0.82, "148.0", 190.0, "9310.00", "12000.00", "11450.00"),
    ("P3", "Copse thinning, holes 4–6", 0.34, "104.0", 290.0, "4120.00", "14500.00", "13900.00"),
    ("P4", "Path, 2 green to 3 tee", 0.12, "48.0", 460.0, "2830.00", "31000.00", "28890.00"),
]


def _square(x: float, y: float, side: float) -> dict[str, Any]:
    ring = [[x, y], [x + side, y], [x + side, y + side], [x, y + side], [x, y]]
    return {"type": "Polygon", "coordinates": [ring]}


def _line(*points: tuple[float, float]) -> dict[str, Any]:
    return {"type": "LineString", "coordinates": [list(p) for p in points]}


def _section() -> dict[str, Any]:
    stations = [
        (250.0, "C5", 51.9, 50.6), (190.0, "C4", 51.5, 50.15), (130.0, "C3", 50.9, 49.5),
        (80.0, "C2", 50.2, 48.97), (40.0, "C1", 49.4, 48.55), (0.0, "O1", 48.9, 48.2),
    ]  # fmt: skip
    pieces = []
    for upper, lower in pairwise(stations):
        pieces.append(
            {
                "key": upper[1], "name": f"{upper[1]} to {lower[1]}", "kind": "pipe",
                "standing": lower[0] <= 80, "upper_chainage_m": upper[0],
                "lower_chainage_m": lower[0], "upper_invert_m": upper[3],
                "lower_invert_m": lower[3], "bore_m": 0.3, "size": "300 mm pipe",
                "one_in": (upper[0] - lower[0]) / (upper[3] - lower[3]), "state": "carries",
                "verdict": "carries it, 28 % to spare",
            }
        )  # fmt: skip
    return {
        "words": "Checked for 1 in 10 year, 30 mm/h. No chartered engineer has reviewed this sheet.",
        "layout": {
            "top_name": "C5", "outfall_name": "O1", "length_m": 250.0,
            "stations": [
                {"chainage_m": c, "name": n, "is_node": True, "ground_m": g, "invert_m": i}
                for c, n, g, i in stations
            ],
            "pieces": pieces,
            "ground": [{"chainage_m": c, "level_m": g} for c, _, g, _ in stations],
            "least_cover": None, "deepest_invert": None,
        },
    }  # fmt: skip


def _figures() -> dict[str, Any]:
    projects = [
        {
            "code": code, "name": name, "earned_share": earned, "logged_h": logged,
            "estimated_h": estimated, "spent": spent, "approved": approved, "forecast": forecast,
            "finish_on": f"2027-0{i + 2}-18",
        }
        for i, (code, name, earned, logged, estimated, spent, approved, forecast) in enumerate(
            _PROJECTS
        )
    ]  # fmt: skip
    rows = []
    for i, (code, name, *_) in enumerate(_PROJECTS):
        rows.append(
            {
                "label": f"{code} {name}", "heading": True, "state": "on_site", "note": "",
                "start": "2026-10-05", "finish": f"2027-0{i + 2}-18", "in_play": None,
                "was_start": None, "was_finish": None,
            }
        )  # fmt: skip
        for j, state in enumerate(("done", "on_site", "growing_in", "proposed")):
            rows.append(
                {
                    "label": f"{name}, part {j + 1}", "heading": False, "state": state,
                    "start": f"2026-1{j % 3}-05", "finish": f"2027-0{i + 1}-18", "note": "",
                    "in_play": f"2027-0{i + 4}-18" if j == 2 else None,
                    "was_start": f"2026-1{j % 3}-01", "was_finish": f"2027-0{i + 1}-10",
                }
            )  # fmt: skip
    features = [
        {"kind": "boundary", "state": "existing", "shape": _square(0, 0, 700)},
        {"kind": "wood", "state": "existing", "shape": _square(20, 500, 150)},
        {"kind": "fairway", "state": "existing", "shape": _square(300, 100, 90)},
        {"kind": "pond", "state": "existing", "shape": _square(500, 60, 50)},
        {"kind": "green", "state": "existing", "shape": _square(320, 300, 22)},
        {"kind": "tee", "state": "proposed", "shape": _square(320, 60, 14)},
        {"kind": "bunker", "state": "existing", "shape": _square(350, 290, 8)},
        {"kind": "path", "state": "existing", "shape": _line((300, 60), (290, 200), (310, 330))},
        {"kind": "ditch", "state": "existing", "shape": _line((0, 40), (400, 30), (700, 10))},
        {"kind": "pipe", "state": "proposed", "shape": _line((400, 400), (420, 200), (400, 30))},
        {
            "kind": "chamber",
            "state": "existing",
            "shape": {"type": "Point", "coordinates": [420, 200]},
        },
        {
            "kind": "outfall",
            "state": "existing",
            "shape": {"type": "Point", "coordinates": [400, 30]},
        },
        {"kind": "tree", "state": "existing", "shape": {"type": "Point", "coordinates": [220, 30]}},
    ]
    works = [
        {"label": "P1.1", "name": "Carrier, lower part", "state": "done",
         "shapes": [_line((420, 200), (400, 30))]},
        {"label": "P1.2", "name": "Carrier, upper part", "state": "proposed",
         "shapes": [_line((400, 400), (420, 200))]},
        {"label": "P2.1", "name": "Tee 8", "state": "growing_in", "shapes": [_square(320, 60, 14)]},
        {"label": "P3.1", "name": "Copse", "state": "on_site", "shapes": [_square(20, 500, 150)]},
    ]  # fmt: skip
    return {
        "form": 1,
        "club": {
            "name": "Sample Hill Golf Club", "sign": "£", "grid": "EPSG 27700",
            "levels": "Survey Mar 2026, grid EPSG 27700",
        },
        "report": {
            "number": 7, "title": "Works progress to 24 November 2026",
            "addressed_to": "the greens committee", "meeting_on": "2026-12-03",
            "from_date": "2026-10-20", "to_date": "2026-11-24", "paper": "A4",
            "opening": "A dry autumn has let us get ahead on the brook.\n\nThank you to the crew.",
            "made_on": "2026-11-25", "made_words": "25 November 2026", "issued_on": "2026-11-25",
            "issued_by": "R. Imrie",
        },
        "programme": {"name": "2026–31", "revision": "C"},
        "winter": {"name": "winter 26/27", "words": "Winter 1 of 5"},
        "key": {
            "earned_share": 0.41, "earned_of": "winter 26/27", "planned_share": 0.43,
            "planned_words": "", "spent": "38200.00", "approved": "96000.00",
            "forecast": "94100.00", "logged_h": "612.0", "estimated_h": 1480.0,
            "last_job_on": "2027-03-18", "last_job_words": "last job of the winter",
            "last_job": "Path, 2 green to 3 tee",
        },
        "decisions": [
            {"order": 1, "project": "P1 Brook carrier drain", "amount": "11400.00",
             "question": "Release £11,400 for the upper ditch on hole 8, or hold it to winter "
             "27/28. If held, hole 8 fairway stays wet one more winter."},
            {"order": 2, "project": "", "amount": None,
             "question": "Agree that hole 5 plays to a temporary green from 11 to 22 January."},
        ],
        "projects": projects,
        "total": {
            "code": "", "name": "Programme", "earned_share": 0.41, "logged_h": "612.0",
            "estimated_h": 1480.0, "spent": "38200.00", "approved": "96000.00",
            "forecast": "94100.00", "finish_on": "2027-05-18",
        },
        "money_note": "Earned: hours of the estimate that the measured progress is worth.",
        "map": {
            "features": features, "works": works,
            "holes": [{"number": 8, "at": [330, 70]}, {"number": 5, "at": [60, 300]}],
            "works_key": [{"label": w["label"], "name": w["name"]} for w in works],
        },
        "charts": [{
            "heading": "Every job of the programme",
            "title": "Programme of works", "from": "2026-10-01", "to": "2027-10-01",
            "on": "2026-11-24", "rows": rows,
        }],
        "charts_note": "Thin line below a bar: the baseline.",
        "section": _section(),
        "done": [
            {"name": "Carrier, lower part", "project": "P1", "hours": "86.5",
             "quantity": "80.0 m", "share": "100 %", "words": "finished on 20 November 2026"},
        ],
        "done_note": "",
        "next": [
            {"name": "Carrier, upper part", "project": "P1",
             "start": "1 Dec 26", "finish": "20 Jan 27", "hours": 140.0,
             "words": "waits for Carrier, lower part"},
        ],
        "next_note": "",
        "cautions": {
            "findings": ["Hole 8, upper ditch: too small by 12 l/s."],
            "trade": [
                {"title": "Buried services", "text": "Scan and mark the line.",
                 "ask": "service owners", "jobs": "Carrier, upper part"},
            ],
            "defers": "Local law goes before anything written here.",
        },
        "method": ["Flow by the rational method, capacity by Colebrook–White."],
    }  # fmt: skip


def sample_figures(*, paper: str = "A4", issued: bool = True) -> dict[str, Any]:
    """A whole report's figures, a fresh copy at every call."""
    figures = deepcopy(_figures())
    figures["report"]["paper"] = paper
    if not issued:
        figures["report"] |= {"number": None, "issued_on": None, "issued_by": ""}
    return figures


def empty_figures(*, paper: str = "A4") -> dict[str, Any]:
    """A programme with nothing in it."""
    figures = sample_figures(paper=paper, issued=False)
    nothing: dict[str, Any] = {"spent": "0.00", "approved": "0.00", "forecast": "0.00"}
    figures |= {
        "winter": None, "decisions": [], "projects": [], "section": None, "done": [], "next": [],
        "total": {"code": "", "name": "Programme", "earned_share": None, "logged_h": "0",
                  "estimated_h": 0.0, "finish_on": None, **nothing},
        "key": {"earned_share": None, "earned_of": "programme", "planned_share": None,
                "planned_words": "no plan yet", "logged_h": "0", "estimated_h": 0.0,
                "last_job_on": None, "last_job_words": "no job has dates yet", "last_job": "",
                **nothing},
        "map": {"features": [], "works": [], "holes": [], "works_key": []},
        "cautions": {"findings": [], "trade": [], "defers": "Local law goes first."},
    }  # fmt: skip
    figures["charts"] = []
    return figures
