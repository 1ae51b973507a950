"""The map in a real browser: a drain drawn with snapping, changed, and two hands on one feature."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import shapely
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, PHONE
from tests.cast import Cast
from worksprog.course.models import Feature, Hole
from worksprog.course.services import create_feature, save_hole

pytestmark = pytest.mark.django_db(transaction=True)
E, N = 451_000.0, 287_000.0
MAP = "/c/first/course/map/"


@pytest.fixture
def course(cast: Cast) -> Cast:
    hole = save_hole(hole=Hole(club=cast.club, number=8, par=4), by=cast.manager)
    for kind, ref, shape, state in (
        ("fairway", "", shapely.box(E, N + 120, E + 300, N + 160), "existing"),
        ("tee", "T8", shapely.box(E + 280, N + 135, E + 292, N + 145), "growing_in"),
        ("green", "G8", shapely.Point(E + 15, N + 140).buffer(12), "existing"),
        ("ditch", "D1", shapely.LineString([(E, N), (E + 300, N + 5)]), "existing"),
        ("chamber", "C3", shapely.Point(E + 100, N + 100), "on_site"),
        ("outfall", "O1", shapely.Point(E + 160, N + 2), "existing"),
    ):
        holes = [hole] if kind in ("fairway", "tee", "green") else []
        create_feature(
            club=cast.club,
            kind=kind,
            ref=ref,
            geometry=shape,
            state=state,
            holes=holes,
            by=cast.manager,
        )
    return cast


def open_map(page: Page, address: str = MAP) -> None:
    page.goto(address)
    page.wait_for_selector("#map[data-ready=yes]")


def place_of(page: Page, selector: str) -> tuple[float, float]:
    """The middle of a mark on the map, in pixels of the window."""
    box = page.locator(selector).first.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def draw_pipe(page: Page) -> None:
    """From beside the chamber, near enough to snap, by a bend to beside the outfall."""
    page.select_option("#draw-kind", "pipe")
    page.click("#draw-start")
    x, y = place_of(page, "path.f.chamber")
    page.mouse.move(x + 7, y + 6, steps=6)
    page.mouse.click(x + 7, y + 6)
    bx, by = x + 40, y + 60
    page.mouse.move(bx, by, steps=6)
    page.mouse.click(bx, by)
    ox, oy = place_of(page, "path.f.outfall")
    page.mouse.move(ox - 6, oy + 5, steps=6)


def test_a_pipe_is_drawn_snapped_measured_and_kept(
    course: Cast, page_as: Callable[..., Page]
) -> None:
    page = page_as(course.manager)
    open_map(page)
    draw_pipe(page)
    while_drawing = page.locator("#draw-live dd").first
    expect(while_drawing).to_contain_text(" m")
    ox, oy = place_of(page, "path.f.outfall")
    page.mouse.click(ox - 6, oy + 5)
    page.click("#draw-finish")
    expect(page.locator("#id_coordinates")).not_to_have_value("")
    page.fill("#id_ref", "P7")
    page.click("#draw-form button.main")
    expect(page.locator("#side-feature h1")).to_have_text("Pipe P7")
    kept = Feature.objects.get(ref="P7")
    chamber, outfall = Feature.objects.get(ref="C3"), Feature.objects.get(ref="O1")
    assert kept.geometry.coords[0] == chamber.geometry.coords[0]
    assert kept.geometry.coords[-1] == outfall.geometry.coords[0]
    assert len(kept.geometry.coords) == 3
    expect(page.locator("#side-feature")).to_contain_text(f"{kept.length_m:,.1f} m")
    expect(page.locator("path.f.pipe.proposed")).to_have_count(1)


def test_the_length_shown_while_drawing_is_the_grids(
    course: Cast, page_as: Callable[..., Page]
) -> None:
    """What the page tells from its own arithmetic against what the server measures afterwards."""
    page = page_as(course.manager)
    open_map(page)
    draw_pipe(page)
    ox, oy = place_of(page, "path.f.outfall")
    page.mouse.click(ox - 6, oy + 5)
    shown = page.locator("#draw-live dd").first.inner_text()
    page.click("#draw-finish")
    expect(page.locator("#id_coordinates")).not_to_have_value("")
    page.click("#draw-form button.main")
    expect(page.locator("#side-feature h1")).to_have_text("Pipe")
    kept = Feature.objects.get(kind="pipe")
    assert float(shown.removesuffix(" m")) == pytest.approx(kept.length_m, abs=0.06)


def test_points_may_be_typed_instead_of_drawn(course: Cast, page_as: Callable[..., Page]) -> None:
    page = page_as(course.manager)
    open_map(page)
    page.select_option("#draw-kind", "chamber")
    page.click("#draw-typed")
    page.keyboard.type("451050.250 287050.750")
    page.click("#draw-show")
    expect(page.locator("path.drawn")).to_be_visible()
    page.fill("#id_ref", "C9")
    page.click("#draw-form button.main")
    expect(page.locator("#side-feature h1")).to_have_text("Chamber C9")
    assert Feature.objects.get(ref="C9").geometry.coords[0] == (451050.25, 287050.75)


def test_the_list_beside_the_map_works_by_keyboard(
    course: Cast, page_as: Callable[..., Page]
) -> None:
    page = page_as(course.manager)
    open_map(page)
    page.focus("#in-view-words")
    page.keyboard.type("T8")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#side-feature h1")).to_have_text("Tee T8")
    expect(page.locator("#side-feature")).to_contain_text("Hole 8")
    before = page.locator("path.f.tee").first.bounding_box()
    page.focus("#map")
    page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "x => Math.abs(document.querySelector('path.f.tee').getBoundingClientRect().x - x) > 30",
        arg=before["x"] if before else 0,
    )


def edit_chamber(page: Page, dx: float) -> None:
    page.click("path.f.chamber")
    page.get_by_role("button", name="Edit the shape").click()
    x, y = place_of(page, "path.f.chamber")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx, y + 30, steps=5)
    page.mouse.up()


def test_two_editors_collide_and_nothing_is_lost(
    course: Cast, page_as: Callable[..., Page]
) -> None:
    mine, theirs = page_as(course.manager), page_as(course.manager)
    open_map(mine)
    open_map(theirs)
    mine.click("path.f.chamber")
    expect(mine.locator("#side-feature h1")).to_have_text("Chamber C3")
    edit_chamber(theirs, 40)
    theirs.get_by_role("button", name="Keep the new shape").click()
    expect(theirs.locator("#map-words")).to_contain_text("is kept")
    first = Feature.objects.get(ref="C3").geometry

    mine.get_by_role("button", name="Edit the shape").click()
    x, y = place_of(mine, "path.f.chamber")
    mine.mouse.move(x, y)
    mine.mouse.down()
    mine.mouse.move(x - 60, y + 20, steps=5)
    mine.mouse.up()
    mine.get_by_role("button", name="Keep the new shape").click()
    expect(mine.get_by_role("alert")).to_contain_text("Mara Quill changed it")
    assert Feature.objects.get(ref="C3").geometry.equals(first)
    mine.get_by_role("button", name="Keep mine").click()
    expect(mine.locator("#map-words")).to_contain_text("is kept")
    assert Feature.objects.get(ref="C3").geometry.x < first.x


def test_switching_a_kind_off_takes_it_off_the_map(
    course: Cast, page_as: Callable[..., Page]
) -> None:
    page = page_as(course.staff)
    open_map(page)
    expect(page.locator("#map path.f.ditch")).to_be_visible()
    page.get_by_label("open ditch").uncheck()
    expect(page.locator("#map path.f.ditch")).to_be_hidden()
    expect(page.locator("#draw-start")).to_have_count(0)


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("address", [MAP, "/c/first/course/features/", "/c/first/course/holes/"])
def test_pages_fit_their_window(
    course: Cast, page_as: Callable[..., Page], viewport: dict[str, int], address: str
) -> None:
    page: Any = page_as(course.manager, viewport)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.goto(address)
    if address == MAP:
        page.wait_for_selector("#map[data-ready=yes]")
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
    assert complaints == []


def test_a_ditch_is_split_on_the_map_and_joined_again(
    course: Cast, page_as: Callable[..., Page]
) -> None:
    page = page_as(course.manager)
    open_map(page)
    whole = Feature.objects.get(ref="D1").length_m
    page.fill("#in-view-words", "D1")
    page.locator("[data-feature]").first.click()
    expect(page.locator("#side-feature h1")).to_have_text("Ditch D1")
    page.get_by_text("Split in two").click()
    page.fill("#panel-at", "120.5")
    page.get_by_role("button", name="Split there").click()
    expect(page.locator("#map-words")).to_contain_text("now 2 features")
    assert Feature.objects.get(ref="D1").length_m == pytest.approx(120.5)
    expect(page.locator("#side-feature")).to_contain_text("120.5 m")

    page.get_by_text("Join with another").click()
    expect(page.locator("#panel-with")).to_contain_text("Ditch D1b, meets")
    page.get_by_role("button", name="Join the two").click()
    expect(page.locator("#map-words")).to_contain_text("was joined into")
    assert Feature.objects.get(ref="D1").length_m == pytest.approx(whole)
    assert Feature.objects.get(ref="D1b").state == "removed"


def test_the_course_is_shown_on_the_day_chosen(course: Cast, page_as: Callable[..., Page]) -> None:
    """The plan's word for a day changes how a feature is drawn, and back again."""
    page = page_as(course.manager)
    chamber = str(Feature.objects.get(ref="C3").uuid)

    def told(route: Any) -> None:
        on = route.request.url.split("on=")[1]
        states = {chamber: "as_built"} if on > "2028-01-01" else {}
        span = {"starts_on": "2026-09-01", "ends_on": "2031-08-31"}
        route.fulfill(json={"on": on, "states": states, **span})

    page.route("**/planning/states/**", told)
    open_map(page)
    expect(page.locator("#dates")).to_contain_text("winter 28/29")
    expect(page.locator("path.f.chamber.on_site")).to_have_count(1)
    page.fill("#dates-range", "150")
    expect(page.locator("path.f.chamber.as_built")).to_have_count(1)
    page.fill("#dates-range", "0")
    expect(page.locator("path.f.chamber.on_site")).to_have_count(1)
