from __future__ import annotations

import json
import re
from typing import Any

import numpy as np
import pytest
import shapely
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.cast import Cast
from tests.course.test_map_services import E, N, line, make, square
from worksprog.calc import grid
from worksprog.course import queries
from worksprog.course.forms import read_points, shape_from_points
from worksprog.course.models import Feature, Hole
from worksprog.course.services import mark_of, save_hole

pytestmark = pytest.mark.django_db
AT = "/c/first/course"


def geojson(cast: Cast, shape: Any) -> dict[str, Any]:
    found = grid.geojson_of([shape], cast.club.epsg)[0]
    assert found is not None
    return found


def send(client: Client, address: str, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
    answer = client.post(address, json.dumps(body), content_type="application/json")
    return answer.status_code, answer.json()


def test_map_data_is_rfc_7946(cast: Cast, as_staff: Client) -> None:
    hole = save_hole(hole=Hole(club=cast.club, number=7), by=cast.manager)
    make(cast, "green", shapely.Polygon(square(0, 0, 30).exterior.coords[::-1]), holes=[hole])
    make(cast, "pipe", line((0, 0), (50, 20)), ref="P1", state="proposed")
    data = as_staff.get(f"{AT}/map/features.json").json()
    green, pipe = data["features"]
    assert (green["properties"]["kind"], pipe["properties"]["ref"]) == ("green", "P1")
    assert green["properties"]["holes"] == [7]
    assert shapely.LinearRing(green["geometry"]["coordinates"][0]).is_ccw
    lon, lat = pipe["geometry"]["coordinates"][0]
    assert -2 < lon < 0 and 51 < lat < 54
    assert all(len(str(value).split(".")[1]) <= 7 for value in (lon, lat))
    east, north = grid.from_lonlat(cast.club.epsg, [lon], [lat])
    assert np.hypot(east[0] - E, north[0] - N) < 0.02


def test_map_data_holds_nothing_of_another_club(cast: Cast, as_stranger: Client) -> None:
    make(cast, "pipe", line((0, 0), (50, 20)))
    assert as_stranger.get("/c/second/course/map/features.json").json()["features"] == []


def test_local_fit_tells_lengths_to_a_centimetre(cast: Cast) -> None:
    """Over two kilometres round the course; OSTN15 bends at each square of its 1 km lattice."""
    make(cast, "fairway", square(0, 0, 800))
    fit = queries.local_fit(cast.club, queries.map_extent(cast.club))
    x, y = np.meshgrid(np.linspace(E - 1000, E + 1000, 9), np.linspace(N - 1000, N + 1000, 9))
    lon, lat = grid.to_lonlat(cast.club.epsg, x.ravel(), y.ravel())
    dx, dy = lon - fit["at"][0], lat - fit["at"][1]
    terms = np.column_stack([np.ones_like(dx), dx, dy, dx * dx, dx * dy, dy * dy])
    assert np.abs(terms @ fit["east"] - x.ravel()).max() < 0.01
    assert np.abs(terms @ fit["north"] - y.ravel()).max() < 0.01


@pytest.mark.parametrize("page", ["map/", "features/", "holes/", "map/features.json"])
def test_queries_do_not_grow_with_the_club(cast: Cast, as_manager: Client, page: str) -> None:
    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as caught:
            assert as_manager.get(f"{AT}/{page}").status_code == 200
        return len(caught)

    holes = [save_hole(hole=Hole(club=cast.club, number=n), by=cast.manager) for n in (1, 2)]
    make(cast, "pipe", line((0, 0), (50, 20)), holes=holes)
    few = count()
    for n in range(3, 9):
        holes.append(save_hole(hole=Hole(club=cast.club, number=n), by=cast.manager))
        make(cast, "tee", square(40 * n, 0, 9), holes=holes)
        make(cast, "ditch", line((0, 40 * n), (50, 40 * n)))
    assert count() == few
    assert few <= 15


def test_staff_and_committee_see_the_map_without_the_pencil(
    as_staff: Client, as_committee: Client, as_manager: Client
) -> None:
    for client in (as_staff, as_committee):
        page = client.get(f"{AT}/map/").content.decode()
        assert "draw-start" not in page
        assert "/map/draw/" not in page
    assert "draw-start" in as_manager.get(f"{AT}/map/").content.decode()


def test_a_drawn_pipe_is_kept_in_the_clubs_grid(cast: Cast, as_manager: Client) -> None:
    drawn = geojson(cast, line((0, 0), (30, 40)))
    told = {
        "kind": "pipe",
        "ref": "P1",
        "state": "proposed",
        "source": "drawn",
        "geometry": json.dumps(drawn),
    }
    answer = as_manager.post(f"{AT}/map/draw/", told)
    assert answer.status_code == 200
    kept = Feature.objects.get()
    assert kept.length_m == pytest.approx(50, abs=0.02)
    assert answer.json()["features"][0]["feature"]["id"] == str(kept.uuid)
    assert answer.json()["features"][0]["seen"] == mark_of(kept)


def test_a_pipe_typed_is_kept_to_the_millimetre(cast: Cast, as_manager: Client) -> None:
    told = {
        "kind": "pipe",
        "state": "proposed",
        "source": "design",
        "coordinates": "451000.123, 287000.456\n451050.789, 287010.001",
    }
    assert as_manager.post(f"{AT}/map/draw/", told).status_code == 200
    assert list(Feature.objects.get().geometry.coords) == [
        (451000.123, 287000.456),
        (451050.789, 287010.001),
    ]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"geometry": "{}"}, "expected a point, a line or an area"),
        ({"geometry": "", "coordinates": ""}, "Draw it on the map"),
        ({"geometry": "", "coordinates": "451000, 287000\nnorth"}, "Line 2 reads"),
        ({"geometry": "", "coordinates": "451000, 287000"}, "two points or more"),
        ({"geometry": "", "coordinates": "451000, 287000\n451000, 287000"}, "the same point"),
        ({"geometry": "", "coordinates": "451000, 287000\n1e400, 287000"}, "no grid reaches that"),
        (
            {"geometry": "", "coordinates": "451726.5 287450.5\n451800 999999"},
            "Point 2, 451800.0, 999999.0, lies 713 km from the other points",
        ),
        (
            {"kind": "green", "geometry": "", "coordinates": "1 1\n9 1\n1 1"},
            "fewer than three points that differ",
        ),
        ({"kind": "tunnel"}, "not one of the available choices"),
        ({"accuracy_m": "-1"}, "greater than or equal to 0"),
    ],
)
def test_what_cannot_be_kept_says_why(
    cast: Cast, as_manager: Client, change: dict[str, str], words: str
) -> None:
    told = {"kind": "pipe", "state": "proposed", "source": "drawn"}
    told["geometry"] = json.dumps(geojson(cast, line((0, 0), (30, 40))))
    answer = as_manager.post(f"{AT}/map/draw/", told | change)
    assert answer.status_code == 422
    assert words in answer.json()["form"]
    assert not Feature.objects.exists()


def test_two_editors_meet(cast: Cast, as_manager: Client) -> None:
    pipe = make(cast, "pipe", line((0, 0), (50, 0)), ref="P1")
    seen, address = mark_of(pipe), f"{AT}/features/{pipe.uuid}/shape/"
    mine = {"seen": seen, "geometry": geojson(cast, line((0, 0), (60, 0)))}
    assert send(as_manager, address, mine)[0] == 200
    theirs = {"seen": seen, "geometry": geojson(cast, line((0, 0), (70, 0)))}
    status, told = send(as_manager, address, theirs)
    assert status == 409
    assert "Mara Quill changed it" in told["who"]
    assert Feature.objects.get().length_m == pytest.approx(60, abs=0.02)
    assert send(as_manager, address, theirs | {"seen": told["seen"]})[0] == 200
    assert Feature.objects.get().length_m == pytest.approx(70, abs=0.02)


def test_the_form_shows_both_when_two_editors_meet(cast: Cast, as_manager: Client) -> None:
    pipe = make(cast, "pipe", line((0, 0), (50, 0)), ref="P1")
    seen, address = mark_of(pipe), f"{AT}/features/{pipe.uuid}/"
    told = {"kind": "pipe", "state": "existing", "source": "drawn", "ref": "P1", "seen": seen}
    told["coordinates"] = queries.coordinates_text(pipe.geometry)
    first = as_manager.post(address, told | {"name": "Carrier"})
    assert first.status_code == 302
    second = as_manager.post(address, told | {"name": "Old drain"})
    page = second.content.decode()
    assert second.status_code == 409
    assert "name Carrier" in page and 'value="Old drain"' in page
    assert Feature.objects.get().name == "Carrier"
    assert Feature.objects.get().version == 1
    again = as_manager.post(
        address, told | {"name": "Old drain", "seen": mark_of(Feature.objects.get())}
    )
    assert again.status_code == 302
    assert Feature.objects.get().name == "Old drain"


def test_split_join_turn_and_state_from_the_map(cast: Cast, as_manager: Client) -> None:
    pipe = make(cast, "pipe", line((0, 0), (50, 0)), ref="P1")
    at = f"{AT}/features/{pipe.uuid}"

    def seen() -> str:
        return mark_of(Feature.objects.get(pk=pipe.pk))

    status, told = send(as_manager, f"{at}/split/", {"seen": seen(), "at_m": "20"})
    assert status == 200 and "Enter the levels of both" in told["words"]
    other = Feature.objects.exclude(pk=pipe.pk).get()
    assert other.length_m == pytest.approx(30)
    status, _ = send(as_manager, f"{at}/join/", {"seen": seen(), "with": str(other.uuid)})
    assert status == 200
    assert Feature.objects.get(pk=pipe.pk).length_m == pytest.approx(50)
    assert send(as_manager, f"{at}/turn/", {"seen": seen()})[0] == 200
    assert Feature.objects.get(pk=pipe.pk).geometry.coords[0] == (E + 50, N)
    state = {"seen": seen(), "state": "removed", "on": "2026-11-24"}
    assert send(as_manager, f"{at}/state/", state)[0] == 200
    assert Feature.objects.get(pk=pipe.pk).state == "removed"


@pytest.mark.parametrize("name", ["shape", "split", "join", "turn", "state"])
def test_nonsense_from_the_map_is_answered_in_words(
    cast: Cast, as_manager: Client, name: str
) -> None:
    wood = make(cast, "wood", square(0, 0, 20))
    for body in ("", "[]", '{"at_m": "x"}', '{"geometry": 3, "with": 4, "at_m": 5}'):
        answer = as_manager.post(
            f"{AT}/features/{wood.uuid}/{name}/", body, content_type="application/json"
        )
        assert answer.status_code in (409, 422)
        assert answer.json()["words"]
    assert Feature.objects.get().geometry.equals(wood.geometry)


def test_measure_tells_what_is_not_yet_kept(cast: Cast, as_manager: Client) -> None:
    status, told = send(
        as_manager,
        f"{AT}/map/measure/",
        {"kind": "green", "coordinates": "451000 287000\n451020 287000\n451020 287010"},
    )
    assert status == 200
    assert told["measures"][0] == {
        "what": "Area",
        "value": "100",
        "unit": "m²",
        "how": "in plan, in the club's grid",
    }
    assert not Feature.objects.exists()


def test_list_filters_by_kind_state_and_hole(cast: Cast, as_staff: Client) -> None:
    hole = save_hole(hole=Hole(club=cast.club, number=4), by=cast.manager)
    make(cast, "pipe", line((0, 0), (50, 0)), ref="P1", holes=[hole], state="proposed")
    make(cast, "pipe", line((0, 9), (50, 9)), ref="P2")
    make(cast, "tee", square(0, 20, 9), ref="T4", holes=[hole])

    def refs(asked: str) -> list[str]:
        page = as_staff.get(f"{AT}/features/?{asked}")
        return [one.ref for one in page.context["page"]]

    assert refs("kind=pipe") == ["P1", "P2"]
    assert refs("kind=pipe&state=proposed") == ["P1"]
    assert refs("hole=4") == ["P1", "T4"]
    assert refs("words=t4") == ["T4"]
    assert refs("kind=nothing&hole=x") == ["P1", "P2", "T4"]


def test_holes_are_added_and_changed_once_each(cast: Cast, as_manager: Client) -> None:
    told = {"number": "1", "par": "4", "length_m": "310", "loop": "Brook loop", "name": ""}
    assert as_manager.post(f"{AT}/holes/", told).status_code == 302
    again = as_manager.post(f"{AT}/holes/", told)
    assert again.status_code == 422
    hole = Hole.objects.get()
    assert as_manager.post(f"{AT}/holes/{hole.uuid}/", told | {"par": "5"}).status_code == 302
    assert Hole.objects.get().par == 5
    assert as_manager.post(f"{AT}/holes/{hole.uuid}/", told | {"par": "9"}).status_code == 422


@pytest.mark.parametrize(
    "text",
    [
        "451230.5, 287410.25",
        "451230.5 287410.25",
        "451230,5; 287410,25",
        "451230,5\t287410,25",
        "  451230.5,287410.25 ",
    ],
)
def test_points_are_read_however_they_are_typed(text: str) -> None:
    assert read_points(text) == [[(451230.5, 287410.25)]]


def test_an_empty_line_begins_an_inner_ring() -> None:
    text = "0 0\n90 0\n90 90\n\n10 10\n20 10\n20 20"
    shape = shape_from_points("wood", text)
    assert shape.area == pytest.approx(90 * 90 / 2 - 10 * 10 / 2)
    with pytest.raises(ValueError, match="one run of points"):
        shape_from_points("pipe", text)
    with pytest.raises(ValueError, match="One point is wanted"):
        shape_from_points("chamber", text)


def test_a_club_without_a_place_is_sent_to_its_survey_first(as_manager: Client) -> None:
    page = as_manager.get("/c/first/course/map/").content.decode()
    assert "bring in a survey first" in page
    assert re.search(r'id="draw-start"\s+disabled', page)


def test_a_mistake_is_dropped_from_the_map_and_from_its_page(
    cast: Cast, as_manager: Client, as_staff: Client
) -> None:
    first, second = (
        make(cast, "tee", square(x, 0, 9), ref=ref) for x, ref in ((0, "A"), (20, "B"))
    )
    at = f"{AT}/features/{first.uuid}/drop/"
    assert as_staff.post(at, {}).status_code in (403, 404)
    assert send(as_manager, at, {"seen": "old"})[0] == 409
    assert "Drop it" in as_manager.get(f"{AT}/features/{first.uuid}/panel/").content.decode()
    status, told = send(as_manager, at, {"seen": mark_of(first)})
    assert (status, told["dropped"]) == (200, str(first.uuid))
    page = as_manager.post(
        f"{AT}/features/{second.uuid}/drop/", {"seen": mark_of(second)}, follow=True
    )
    assert "Tee B is dropped" in page.content.decode()
    assert not Feature.objects.exists()
