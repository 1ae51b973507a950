"""The pages of what was built, what a phone sends, and the surveyor's file."""

from __future__ import annotations

import csv
import io
import json
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests.cast import Cast
from tests.drainage.conftest import Drain
from tests.drainage.drawn import SOUTH, WEST, draw_flat_ground
from tests.drainage.test_as_built import keep, photo
from worksprog.calc.grid import to_lonlat
from worksprog.course.models import State
from worksprog.drainage.models import AsBuiltFacts, AsBuiltLevel

AT = "/c/first/drainage/"


def entry(cast: Cast, drain: Drain, **more: Any) -> dict[str, Any]:
    usual = {
        "client_id": str(uuid4()), "drain": str(drain.upper.uuid), "of": "invert", "how": "level",
        "measured_on": cast.club.today().isoformat(), "level_m": 51.6, "chainage_m": 40,
        "level_accuracy_m": 0.01, "note": "",
    }  # fmt: skip
    return usual | more


def send(client: Client, cast: Cast, entries: list[Any], who: str = "", files: Any = None) -> Any:
    sent = json.dumps({"who": who or cast.staff.email, "entries": entries})
    return client.post(f"{AT}measure/intake/", {"sent": sent, **(files or {})})


def test_a_phone_sends_the_same_twice(cast: Cast, drain: Drain, as_staff: Client) -> None:
    batch = [entry(cast, drain), entry(cast, drain, chainage_m=60, level_m=51.4)]
    for _ in range(2):
        answer = send(as_staff, cast, batch).json()
        assert [one["answer"] for one in answer["answers"]] == ["kept", "kept"]
    assert AsBuiltLevel.objects.count() == 2
    told = next(one for one in answer["drains"] if one["uuid"] == str(drain.upper.uuid))
    assert [level["level"] for level in told["levels"]] == [51.6, 51.4]


def test_two_phones_at_one_place_are_both_kept(
    cast: Cast, drain: Drain, as_staff: Client, as_manager: Client
) -> None:
    send(as_staff, cast, [entry(cast, drain)])
    sent = [entry(cast, drain, level_m=51.81)]
    for _ in range(2):  # sent again after a lost reply, it is told again
        (told,) = send(as_manager, cast, sent, who=cast.manager.email).json()["answers"]
        assert told["answer"] == "kept"
        assert "51.600 m by" in told["why"]
        assert "210 mm apart" in told["why"]
    assert AsBuiltLevel.objects.count() == 2
    for address in ("as-built/", f"as-built/{drain.upper.uuid}/"):
        page = as_manager.get(AT + address).content.decode().lower()
        assert "two people&#x27;s levels at chainage 40 do not agree" in page
    assert {row.kept_by for row in AsBuiltLevel.objects.all()} == {cast.staff, cast.manager}
    answer = as_manager.get(f"{AT}as-built/{drain.upper.uuid}/")
    assert answer.context["found"].stretches == ()
    assert "taken again later: 51.810 m stands" in answer.content.decode()


def test_a_position_of_the_device(cast: Cast, drain: Drain, as_staff: Client) -> None:
    lon, lat = to_lonlat(cast.club.epsg, [WEST + 40], [SOUTH + 1.5])
    sent = entry(
        cast, drain, chainage_m=None, lon=float(lon[0]), lat=float(lat[0]), plan_accuracy_m=4.0
    )
    assert send(as_staff, cast, [sent]).json()["answers"][0]["answer"] == "kept"
    row = AsBuiltLevel.objects.get()
    assert (row.x_m, row.y_m) == pytest.approx((WEST + 40, SOUTH + 1.5), abs=0.01)
    assert row.chainage_m == pytest.approx(40, abs=0.01)
    assert row.plan_accuracy_m == 4.0


def test_what_is_refused_keeps_the_rest(cast: Cast, drain: Drain, as_staff: Client) -> None:
    batch = [
        entry(cast, drain, level_m=51.6 / 0.3048),
        entry(cast, drain, lon=2.35, lat=48.85, chainage_m=None),
        "rubbish",
        entry(cast, drain) | {"drain": str(uuid4())},
        entry(cast, drain),
    ]
    answers = send(as_staff, cast, batch).json()["answers"]
    assert [one["answer"] for one in answers] == ["refused"] * 4 + ["kept"]
    assert "looks like feet" in answers[0]["why"]
    assert "km from P1" in answers[1]["why"]
    assert AsBuiltLevel.objects.count() == 1


@pytest.mark.parametrize(
    "wrong",
    [
        {"level_m": 10**400},
        {"level_m": 1e308},
        {"level_m": None, "peg_level_m": 1e308, "below_peg_m": 1.0},
        {"level_m": None, "peg_level_m": 52.0, "below_peg_m": -1e308},
        {"chainage_m": None, "lon": -1.2, "lat": 51.9, "plan_accuracy_m": 1e308},
        {"note": "a\ud800b"},
        {"note": "a\0b"},
        {"of": "x\ud800"},
        {"how": "y" * 5000},
        {"measured_on": "9" * 5000},
        {"drain": "z" * 5000},
        {"corrects": str(uuid4()), "reason": "misread"},
    ],
)
def test_what_no_phone_sends(
    cast: Cast, drain: Drain, as_staff: Client, wrong: dict[str, Any]
) -> None:
    (told,) = send(as_staff, cast, [entry(cast, drain) | wrong]).json()["answers"]
    assert told["answer"] == "refused"
    assert 20 < len(told["why"]) < 300
    assert not AsBuiltLevel.objects.exists()


def test_a_correction_from_the_bank(cast: Cast, drain: Drain, as_staff: Client) -> None:
    wrong = keep(cast, drain.upper, 51.9, 40)
    sent = entry(cast, drain, corrects=str(wrong.uuid), reason="", level_m=51.61)
    (told,) = send(as_staff, cast, [sent]).json()["answers"]
    assert (told["answer"], told["field"]) == ("refused", "why")
    for _ in range(2):
        answer = send(as_staff, cast, [sent | {"reason": "staff misread"}]).json()
        assert answer["answers"][0] | {"why": ""} == {
            "client_id": sent["client_id"], "answer": "kept", "why": "", "field": "",
        }  # fmt: skip
    assert AsBuiltLevel.objects.get(corrects=wrong).why == "staff misread"
    told = next(one for one in answer["drains"] if one["uuid"] == sent["drain"])
    assert [level["level"] for level in told["levels"]] == [51.61]


def test_an_invert_above_the_ground_is_told(cast: Cast, drain: Drain, as_staff: Client) -> None:
    draw_flat_ground(cast.club, 53.0)
    low, high = entry(cast, drain), entry(cast, drain, chainage_m=60, level_m=53.4)
    answer = send(as_staff, cast, [low, high]).json()
    assert [one["answer"] for one in answer["answers"]] == ["kept", "kept"]
    assert answer["answers"][0]["why"] == ""
    assert "lies 0.40 m above the ground there (53.00 m)" in answer["answers"][1]["why"]
    page = as_staff.get(f"{AT}as-built/{drain.upper.uuid}/").content.decode()
    assert page.count("above the ground there") == 1
    told = next(one for one in answer["drains"] if one["uuid"] == low["drain"])
    assert told["ground"] == [53.0] * 21


@pytest.mark.parametrize(
    "body",
    [{}, {"sent": "[]"}, {"sent": '{"who": "x", "entries": 5}'}, {"sent": "[" * 100_000}],
    ids=["none", "list", "number", "nested"],
)
def test_what_is_no_batch(as_staff: Client, body: dict[str, Any]) -> None:
    assert as_staff.post(f"{AT}measure/intake/", body).status_code == 400


def test_another_persons_phone(cast: Cast, drain: Drain, as_staff: Client) -> None:
    assert send(as_staff, cast, [entry(cast, drain)], who="x@first.example").status_code == 409
    assert not AsBuiltLevel.objects.exists()


def test_a_photo_goes_through_the_door(
    cast: Cast, drain: Drain, as_staff: Client, as_stranger: Client, client: Client
) -> None:
    sent = entry(cast, drain)
    bad = send(
        as_staff,
        cast,
        [sent],
        files={f"photo-{sent['client_id']}": SimpleUploadedFile("a.jpg", b"no")},
    )
    assert "no photo" in bad.json()["answers"][0]["why"]
    send(as_staff, cast, [sent], files={f"photo-{sent['client_id']}": photo()})
    row = AsBuiltLevel.objects.get()
    address = f"{AT}as-built/level/{row.uuid}/photo/"
    answer: Any = as_staff.get(address)
    assert answer["Content-Type"] == "image/jpeg"
    assert b"".join(answer.streaming_content)[:2] == b"\xff\xd8"
    assert as_stranger.get(address).status_code == 404
    assert client.get(address).status_code == 302
    assert client.get(f"/{row.photo.name}").status_code == 404
    assert UUID(row.photo.name.rsplit("/", 1)[-1].removesuffix(".jpg"))


def test_the_page_of_one_drain(cast: Cast, drain: Drain, as_staff: Client) -> None:
    keep(cast, drain.upper, 51.480, 52)
    keep(cast, drain.upper, 51.503, 64)
    page = as_staff.get(f"{AT}as-built/{drain.upper.uuid}/").content.decode()
    assert "Stop: backfall of 23 mm between chainage 52 and 64" in page
    assert "no level within 2 m of its upper end" in page
    row = AsBuiltLevel.objects.order_by("id").last()
    fix = {
        "why": "laid again", "level_m": "51.35", "of": "invert", "how": "level", "chainage_m": "64",
        "level_accuracy_m": "0.005", "measured_on": cast.club.today().isoformat(),
    }  # fmt: skip
    at = f"{AT}as-built/level/{row.uuid}/correct/"
    assert "51.503" in as_staff.get(at).content.decode()
    assert as_staff.post(at, fix | {"why": ""}).status_code == 422
    assert as_staff.post(at, fix).status_code == 302
    page = as_staff.get(f"{AT}as-built/{drain.upper.uuid}/").content.decode()
    assert "Stop:" not in page
    assert "struck-row" in page
    assert "corrected to 51.350 m" in page
    assert as_staff.post(at, fix).status_code == 422


def test_closing_on_the_page(cast: Cast, drain: Drain, as_staff: Client) -> None:
    at = f"{AT}as-built/{drain.upper.uuid}/"
    sent = {"on": cast.club.today().isoformat(), "laid_by": "own crew", "material": "twin wall"}
    refused = as_staff.post(at, sent)
    assert refused.status_code == 422
    assert "Not closed: no level has been taken on it" in refused.content.decode()
    assert not AsBuiltFacts.objects.exists()
    assert as_staff.post(at, sent | {"despite": "bank was slipping"}).status_code == 302
    drain.upper.refresh_from_db()
    assert drain.upper.state == State.AS_BUILT
    assert "bank was slipping" in as_staff.get(at).content.decode()


def test_where_built_differs(cast: Cast, drain: Drain, as_committee: Client) -> None:
    keep(cast, drain.upper, 51.9, 30)
    keep(cast, drain.lower, 50.5, 50)
    page = as_committee.get(f"{AT}as-built/")
    assert [one.feature.ref for one in page.context["differ"]] == ["P1"]
    assert [one.feature.ref for one in page.context["alike"]] == ["P2"]
    assert "200 mm higher than drawn at chainage 30.0" in page.content.decode()


HEAD = "chainage,level,of,drain\n"


def brought(client: Client, text: str | bytes, *, keep: bool = False, **more):
    data = text.encode() if isinstance(text, str) else text
    sent = {"measured_on": "", **more}
    if keep:
        sent["keep"] = "yes"
    return client.post(f"{AT}as-built/file/", sent | {"upload": SimpleUploadedFile("s.csv", data)})


def test_the_surveyors_file(cast: Cast, drain: Drain, as_manager: Client) -> None:
    day = cast.club.today().isoformat()
    text = (
        "easting;northing;level;code\n"
        f"{WEST + 10};{SOUTH + 0.04};51,905;inv\n{WEST + 150};{SOUTH};50,49;invert\n"
    )
    shown = brought(as_manager, text, measured_on=day, level_accuracy_m="0.01")
    read = shown.context["read"]
    assert [(row.feature.ref, round(row.away_m, 2)) for row in read.rows] == [
        ("P1", 0.04),
        ("P2", 0),
    ]
    assert not AsBuiltLevel.objects.exists()
    # As the page sends it back: the text it was shown, by its own button.
    again = {"measured_on": day, "level_accuracy_m": "0.01", "keep": "yes",
             "text": text.replace("\n", "\r\n"), "file_name": "s.csv"}  # fmt: skip
    assert as_manager.post(f"{AT}as-built/file/", again).status_code == 302
    rows = list(AsBuiltLevel.objects.order_by("id"))
    assert [row.file_name for row in rows] == ["s.csv", "s.csv"]
    assert rows[0].chainage_m == pytest.approx(10, abs=0.01)
    twice = brought(as_manager, text, keep=True, measured_on=day)
    assert "brought in before" in twice.content.decode()
    assert AsBuiltLevel.objects.count() == 2


def test_a_file_with_faults_keeps_nothing(cast: Cast, drain: Drain, as_manager: Client) -> None:
    text = HEAD + (
        "10,51.9,inv,P1\n20,abc,inv,P1\n30,51.7,roof,P1\n400,51.6,inv,P1\n50,51.5,inv,P9\n"
        "60,51.4,inv,\n70,,inv,P1\n"
    )
    day = cast.club.today().isoformat()
    answer = brought(as_manager, text, keep=True, measured_on=day)
    told = {one.row: one.reason for one in answer.context["refusals"]}
    assert list(told) == [f"line {n}" for n in (3, 4, 5, 6, 7, 8)]
    assert told["line 3"].startswith("column level: “abc” is no number; expected")
    assert told["line 5"] == (
        "column chainage: 400 is not on P1; expected 0 to 100.0 m, from its upper end"
    )
    assert not AsBuiltLevel.objects.exists()
    feet = brought(
        as_manager, HEAD + "10,51.9,inv,P1\n20,169.6,inv,P1\n", keep=True, measured_on=day
    )
    assert "looks like feet" in feet.content.decode()
    assert not AsBuiltLevel.objects.exists()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "The file is empty"),
        (b"\x00\x01", "binary"),
        (b"hello", "Expected a heading row"),
        (b"a,b\n1,2\n", "names no column for the level"),
        (b"level,of\n1,2\n", "names no column for the place"),
        (HEAD.encode(), "nothing below it"),
        (b"x" * 3_000_000, "3 MB; 2 MB is the most"),
    ],
)
def test_a_file_that_is_none(cast: Cast, as_manager: Client, data: bytes, words: str) -> None:
    answer = brought(as_manager, data, measured_on=cast.club.today().isoformat())
    assert answer.status_code == 422
    assert words in answer.content.decode()


def test_what_is_offered_can_be_kept(cast: Cast, drain: Drain, as_staff: Client) -> None:
    day = cast.club.today().isoformat()
    rows = f"chainage,level\n5,{51.95 / 0.3048:.2f}\n"
    told = brought(as_staff, rows, measured_on=day, drain=str(drain.upper.uuid))
    page = told.content.decode()
    assert "looks like feet" in page
    assert [one.row for one in told.context["refusals"]] == ["line 2"]
    assert "1 of 1 row cannot be kept" in page
    assert 'name="keep"' not in page
    good = brought(
        as_staff, "chainage,level\n5,51.95\n", measured_on=day, drain=str(drain.upper.uuid)
    )
    assert "Keep this level" in good.content.decode()
    future = brought(
        as_staff, "chainage,level\n5,51.95\n", measured_on="2199-01-01",
        drain=str(drain.upper.uuid),
    )  # fmt: skip
    assert "no day on which" in future.content.decode()
    assert 'name="keep"' not in future.content.decode()


def test_a_column_twice(cast: Cast, drain: Drain, as_staff: Client) -> None:
    for head in ("chainage,chainage,level", "ch,chainage (m),level", "chainage,level,RL"):
        answer = brought(
            as_staff, f"{head}\n5,6,51.9\n", measured_on=cast.club.today().isoformat(),
            drain=str(drain.upper.uuid),
        )  # fmt: skip
        assert answer.status_code == 422
        assert "two columns" in answer.content.decode()


def test_the_register(cast: Cast, drain: Drain, as_committee: Client) -> None:
    keep(cast, drain.upper, 51.98, 0.5)
    keep(cast, drain.upper, 51.02, 99.5)
    page = as_committee.get(f"{AT}register/")
    rows = {row.feature.ref: row for row in page.context["rows"]}
    assert rows.keys() == {"P1", "P2", "C1", "C2", "O1"}
    assert (rows["P1"].levels_from, rows["P2"].levels_from) == ("as built", "as entered")
    assert rows["C2"].depth == pytest.approx((1.45, 1.45))
    asked = as_committee.get(f"{AT}register/register.csv?kind=pipe&levels=built")
    table = list(csv.DictReader(io.StringIO(asked.content.decode("utf-8-sig"))))
    assert [row["reference"] for row in table] == ["P1"]
    assert table[0]["upper invert (m)"] == "51.980"
    assert table[0]["who"] == str(cast.staff)
    for ending in ("gpkg", "dxf", "csv"):
        answer = as_committee.get(f"{AT}register/drains.{ending}")
        assert answer["Content-Disposition"] == f'attachment; filename="first-drains.{ending}"'


def test_files_of_nothing_go_back_to_the_page(cast: Cast, as_committee: Client) -> None:
    assert as_committee.get(f"{AT}register/drains.dxf").status_code == 302


def test_staff_may_measure_and_committee_may_not(
    cast: Cast, drain: Drain, as_staff: Client, as_committee: Client
) -> None:
    page = as_staff.get(f"{AT}measure/").content.decode()
    assert 'href="/c/first/hours/" data-kept' in page
    assert "Sign out" in page
    assert as_committee.get(f"{AT}measure/").status_code == 403
    assert as_committee.post(f"{AT}as-built/{drain.upper.uuid}/").status_code == 403


def test_the_other_clubs_drain(cast: Cast, drain: Drain, as_stranger: Client) -> None:
    sent = json.dumps({"who": cast.stranger.email, "entries": [entry(cast, drain)]})
    answer = as_stranger.post("/c/second/drainage/measure/intake/", {"sent": sent})
    assert "no longer drawn" in answer.json()["answers"][0]["why"]
