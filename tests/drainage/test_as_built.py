"""Levels of what was built: kept, never changed, corrected by new rows, closed with a reason."""

from __future__ import annotations

import io
from datetime import timedelta
from importlib import import_module
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from tests.cast import Cast
from tests.drainage.conftest import Drain
from tests.drainage.drawn import SOUTH, WEST
from worksprog.clubs.records import save_record, update_records
from worksprog.course.models import Feature, State
from worksprog.drainage.models import AsBuiltFacts, AsBuiltLevel, DrainReach
from worksprog.drainage.queries import check_network
from worksprog.drainage.queries.as_built import as_built_of, built_levels_of, every_as_built
from worksprog.drainage.services import swap_direction
from worksprog.drainage.services.as_built import (
    Measured,
    StillOpen,
    close_trench,
    correct_level,
    keep_facts,
    measure_level,
)


def taken(cast: Cast, level: float | None = None, at: float | None = None, **more) -> Measured:
    usual: dict[str, Any] = {
        "of": "invert", "how": "level", "measured_on": cast.club.today(), "level_m": level,
        "chainage_m": at, "level_accuracy_m": 0.005,
    }  # fmt: skip
    return Measured(**(usual | more))


def keep(cast: Cast, feature: Feature, level: float, at: float, **more) -> AsBuiltLevel:
    return measure_level(feature=feature, measured=taken(cast, level, at, **more), by=cast.staff)


def photo(width: int = 2400, height: int = 1800) -> SimpleUploadedFile:
    written = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # taken upright
    exif[0x8825] = {1: "N", 2: (51.0, 58.0, 0.0), 3: "W", 4: (1.0, 15.0, 0.0)}
    Image.new("RGB", (width, height), "olive").save(written, "JPEG", exif=exif)
    return SimpleUploadedFile("IMG_1.jpg", written.getvalue(), "image/jpeg")


def test_a_level_and_what_it_says(cast: Cast, drain: Drain) -> None:
    keep(cast, drain.upper, 51.612, 40)
    keep(cast, drain.upper, 51.480, 52)
    keep(cast, drain.upper, 51.503, 64)
    found = as_built_of(drain.upper, flow_m3s=0.02)
    assert [one.difference.words for one in found.lines] == [
        "12 mm higher than drawn", "as drawn, within ± 5 mm", "143 mm higher than drawn",
    ]  # fmt: skip
    assert [one.stretch.words for one in found.stretches] == [
        "falls 132 mm between chainage 40 and 52",
        "backfall of 23 mm between chainage 52 and 64",
    ]
    assert found.stretches[1].capacity.carries == "too_small"
    assert len(found.against_closing) == 3  # a backfall and both ends
    assert found.differs


def test_the_design_is_never_touched(cast: Cast, drain: Drain) -> None:
    before = DrainReach.objects.filter(feature=drain.upper).values().get()
    for level, at in ((51.9, 0), (51.6, 30), (51.3, 60), (51.05, 90), (50.9, 100)):
        keep(cast, drain.upper, level, at)
    close_trench(feature=drain.upper, on=cast.club.today(), by=cast.manager, laid_by="own crew")
    assert DrainReach.objects.filter(feature=drain.upper).values().get() == before
    drain.upper.refresh_from_db()
    assert drain.upper.state == State.AS_BUILT
    assert AsBuiltFacts.objects.get().laid_by == "own crew"


def test_rows_are_only_ever_added(cast: Cast, drain: Drain) -> None:
    row = keep(cast, drain.upper, 51.612, 40)
    row.level_m = 50.0
    for change in (
        row.save,
        row.delete,
        lambda: save_record(row, by=cast.manager),
        lambda: update_records([row], fields=["level_m"], by=cast.manager, label="no"),
        lambda: AsBuiltLevel.objects.filter(pk=row.pk).update(level_m=50.0),
        AsBuiltLevel.objects.all().delete,
    ):
        with pytest.raises(ValidationError, match="never changed or removed"):
            change()
    facts = keep_facts(feature=drain.upper, by=cast.manager, material="twin wall")
    facts.material = "clay"
    with pytest.raises(ValidationError, match="never changed or removed"):
        facts.save()
    assert AsBuiltLevel.objects.get().level_m == 51.612


def test_a_correction_names_what_it_corrects(cast: Cast, drain: Drain) -> None:
    wrong = keep(cast, drain.upper, 51.612, 40)
    with pytest.raises(ValidationError, match="Say why"):
        correct_level(wrong=wrong, measured=taken(cast, 51.6, 40), why=" ", by=cast.staff)
    right = correct_level(
        wrong=wrong, measured=taken(cast, 51.6, 40), why="staff misread", by=cast.staff
    )
    found = as_built_of(drain.upper)
    assert [(one.counts, one.corrected_by) for one in found.lines] == [(False, right), (True, None)]
    assert [level.level_m for level in found.levels] == [51.6]
    with pytest.raises(ValidationError, match="corrected already"):
        correct_level(wrong=wrong, measured=taken(cast, 51.5, 40), why="again", by=cast.staff)


def test_a_correction_may_move_to_another_drain(cast: Cast, drain: Drain) -> None:
    wrong = keep(cast, drain.upper, 51.05, 99)
    correct_level(
        wrong=wrong, feature=drain.lower, measured=taken(cast, 50.98, 1), why="wrong drain",
        by=cast.staff,
    )  # fmt: skip
    here = as_built_of(drain.upper)
    assert here.levels == ()
    assert [line.counts for line in here.lines] == [False]
    assert [level.level_m for level in as_built_of(drain.lower).levels] == [50.98]
    by_ref = {one.feature.ref: one for one in every_as_built(cast.club)}
    assert by_ref["P1"].levels == ()


def test_a_level_taken_again_stands_for_the_first(cast: Cast, drain: Drain) -> None:
    for level in (53.5, 51.9, 51.62):
        keep(cast, drain.upper, level, 40)
    keep(cast, drain.upper, 51.9, 40.2, measured_on=cast.club.today() - timedelta(days=1))
    found = as_built_of(drain.upper)
    assert [level.level_m for level in found.levels] == [51.62]
    assert [line.again and line.again.level_m for line in found.lines] == [
        51.62,
        51.62,
        None,
        51.62,
    ]
    assert [round(line.difference.difference_m, 3) for line in found.off_design] == [0.02]
    assert found.unlike == []  # one person took them all
    assert [one.level_m for one in built_levels_of(cast.club)[drain.upper.pk]] == [51.62]
    assert AsBuiltLevel.objects.count() == 4


def test_two_peoples_levels_that_do_not_agree(cast: Cast, drain: Drain) -> None:
    keep(cast, drain.upper, 51.61, 40)
    for level in (51.605, 51.41):
        measure_level(feature=drain.upper, measured=taken(cast, level, 40), by=cast.manager)
    found = as_built_of(drain.upper)
    assert [level.level_m for level in found.levels] == [51.41]
    (line,) = found.unlike
    assert line.row.level_m == 51.61
    assert "51.610 m by" in line.unlike
    assert "200 mm apart" in line.unlike
    assert found.differs


def test_sent_twice_is_kept_once(cast: Cast, drain: Drain) -> None:
    number = uuid4()
    rows = [
        measure_level(
            feature=drain.upper, measured=taken(cast, 51.6, 40), by=cast.staff, client_id=number
        )
        for _ in range(2)
    ]
    assert rows[0] == rows[1]
    with pytest.raises(ValidationError, match="kept before with another level"):
        measure_level(
            feature=drain.upper, measured=taken(cast, 51.5, 40), by=cast.staff, client_id=number
        )


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ({"level_m": 51.6 / 0.3048}, "looks like feet"),
        ({"level_m": 48.0}, "3.60 m below the design"),
        ({"level_m": float("nan")}, "cannot be one"),
        ({"level_m": None}, "Enter a level"),
        ({"level_m": None, "peg_level_m": 53.0, "below_peg_m": 4.6}, "looks like feet"),
        ({"level_m": None, "peg_level_m": 53.0}, "needs both"),
        ({"level_m": None, "peg_level_m": 53.0, "below_peg_m": 40.0}, "0 to 12 m"),
        ({"chainage_m": 140.0}, "from 0 at its upper end to 100.0 m"),
        ({"chainage_m": None}, "Say where"),
        ({"chainage_m": None, "place": (WEST, SOUTH + 90)}, "90 m from P1"),
        ({"chainage_m": None, "place": (0.0, 0.0)}, "km from P1"),
        ({"chainage_m": None, "place": (WEST, SOUTH), "plan_accuracy_m": 45.0}, "too coarse"),
        ({"of": "roof"}, "not a valid choice"),
        ({"level_accuracy_m": -0.1}, "greater than or equal"),
    ],
)
def test_bad_input_is_told(cast: Cast, drain: Drain, figures: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError) as told:
        measure_level(
            feature=drain.upper, measured=taken(cast, **({"level_m": 51.6, "chainage_m": 40.0} | figures)),
            by=cast.staff,
        )  # fmt: skip
    assert words in " ".join(told.value.messages)
    assert not AsBuiltLevel.objects.exists()


def test_a_day_that_cannot_be(cast: Cast, drain: Drain) -> None:
    for day in (timedelta(days=1), timedelta(days=-500)):
        with pytest.raises(ValidationError, match="no day on which"):
            keep(cast, drain.upper, 51.6, 40, measured_on=cast.club.today() + day)


def test_depth_below_a_peg(cast: Cast, drain: Drain) -> None:
    row = measure_level(
        feature=drain.upper, by=cast.staff,
        measured=taken(cast, at=40.0, how="peg", peg_level_m=53.0, below_peg_m=1.385),
    )  # fmt: skip
    assert row.level_m == pytest.approx(51.615)


def test_top_of_pipe_gives_the_invert(cast: Cast, drain: Drain) -> None:
    keep(cast, drain.upper, 51.95, 40, of="crown")
    guessed = as_built_of(drain.upper)
    assert guessed.levels[0].level_m == pytest.approx(51.95 - 0.3 * 1.07)
    assert "taken as 7 %" in guessed.lines[0].remark
    keep_facts(
        feature=drain.upper, by=cast.manager, inside_diameter_mm=300.0, outside_diameter_mm=350.0
    )
    assert as_built_of(drain.upper).levels[0].level_m == pytest.approx(51.95 - 0.3 - 0.025)


def test_a_line_turned_round_keeps_its_levels_in_place(cast: Cast, drain: Drain) -> None:
    keep(cast, drain.upper, 51.9, 10)
    swap_direction(feature=drain.upper, by=cast.manager)
    drain.upper.refresh_from_db()
    found = built_levels_of(cast.club, [drain.upper.pk])[drain.upper.pk]
    assert found[0].chainage_m == pytest.approx(90)


def test_the_check_goes_by_what_was_built(cast: Cast, drain: Drain) -> None:
    keep(cast, drain.upper, 51.9, 0.5)
    assert check_network(cast.club).reach(str(drain.upper.uuid)).upstream_level_m == 52.0
    keep(cast, drain.upper, 51.1, 99.5)
    built = check_network(cast.club).reach(str(drain.upper.uuid))
    assert (built.upstream_level_m, built.downstream_level_m) == (51.9, 51.1)
    assert built.upstream_level_from == built.downstream_level_from == "as built"
    drawn = check_network(cast.club, as_built=False).reach(str(drain.upper.uuid))
    assert (drawn.upstream_level_m, drawn.downstream_level_m) == (52.0, 51.0)


def test_closing_asks_for_what_is_missing(cast: Cast, drain: Drain) -> None:
    day = cast.club.today()
    with pytest.raises(StillOpen) as told:
        close_trench(feature=drain.upper, on=day, by=cast.manager)
    assert told.value.against == ["no level has been taken on it"]
    kept = close_trench(
        feature=drain.upper, on=day, by=cast.manager, despite="filled before the level came"
    )
    assert kept.backfilled_despite == "filled before the level came"
    assert as_built_of(drain.upper).closed


def test_a_backfall_stands_against_closing_until_laid_again(cast: Cast, drain: Drain) -> None:
    day = cast.club.today()
    for level, at in ((52.0, 0), (51.72, 28), (51.4, 52), (51.2, 76), (51.0, 100)):
        keep(cast, drain.upper, level, at)
    high = keep(cast, drain.upper, 51.43, 60)
    with pytest.raises(StillOpen, match="backfall of 30 mm between chainage 52 and 60"):
        close_trench(feature=drain.upper, on=day, by=cast.manager)
    correct_level(wrong=high, measured=taken(cast, 51.33, 60), why="laid again", by=cast.staff)
    close_trench(feature=drain.upper, on=day, by=cast.manager)
    assert AsBuiltFacts.objects.get().backfilled_despite == ""


def test_photos_are_small_upright_and_say_no_place(cast: Cast, drain: Drain) -> None:
    row = measure_level(
        feature=drain.upper, measured=taken(cast, 51.6, 40), by=cast.staff, photo=photo()
    )
    with Image.open(row.photo) as kept:
        assert kept.size == (1200, 1600)
        assert not kept.getexif()
        assert "exif" not in kept.info
    row.photo.close()


@pytest.mark.parametrize(
    ("upload", "words"),
    [
        (SimpleUploadedFile("a.jpg", b"no picture at all", "image/jpeg"), "no photo"),
        (SimpleUploadedFile("a.jpg", photo().read()[:900], "image/jpeg"), "damaged"),
        (SimpleUploadedFile("a.jpg", b"\xff\xd8\xff" + bytes(40 * 1_048_576)), "40 MB"),
        (SimpleUploadedFile("a.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"), "no photo"),
    ],
    ids=["text", "cut short", "large", "svg"],
)
def test_what_is_no_photo(cast: Cast, drain: Drain, upload: SimpleUploadedFile, words: str) -> None:
    import_module("worksprog.clubs.typesetting")  # what sets PDFs is easier on cut pictures
    with pytest.raises(ValidationError, match=words):
        measure_level(
            feature=drain.upper, measured=taken(cast, 51.6, 40), by=cast.staff, photo=upload
        )
    assert not AsBuiltLevel.objects.exists()
