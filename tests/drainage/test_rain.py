"""Tables of rain, gauge records and the pages about them, as they are used."""

from __future__ import annotations

import datetime
import re

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from tests.drainage.drawn import draw_pipe
from worksprog.calc.rainfall import Depth
from worksprog.calc.rainfall.gauge import read_gauge
from worksprog.clubs.models import Change
from worksprog.drainage.forms.water import read_days
from worksprog.drainage.models import DesignStorm, GaugeRecord, RainTable
from worksprog.drainage.queries.rain import daily_rain_of, design_rain_of, fit_record, storm_working
from worksprog.drainage.services import set_design_storm, set_reach
from worksprog.drainage.services.rain import (
    forget_table,
    keep_fitted,
    keep_gauge,
    keep_table,
)

GRID = "duration, 2, 10, 30\n15 min, 8, 13, 16\n1 h, 13, 21, 26\n1 day, 34, 52, 64\n"
FALLS = "duration, 2, 10\n15 min, 14, 20\n1 h, 13, 21\n"
YEARS = "year, 15 min, 1 day\n" + "\n".join(
    f"{1995 + n}, {6 + (n * 7) % 5}, {30 + (n * 11) % 23}" for n in range(24)
)


def address(cast, name, *args):
    return reverse(f"drainage:{name}", args=[cast.club.slug, *args])


@pytest.fixture
def as_manager(client, cast):
    client.force_login(cast.manager, backend="django.contrib.auth.backends.ModelBackend")
    return client


def depths(factor=1.0):
    return [
        Depth(years, minutes, depth * factor)
        for years, more in ((2, 1.0), (10, 1.6))
        for minutes, depth in ((15, 8.0 * more), (60, 13.0 * more))
    ]


@pytest.fixture
def table(cast):
    return keep_table(club=cast.club, by=cast.manager, name="Local", depths=depths(), source="us")


@pytest.fixture
def record(cast):
    return keep_gauge(
        club=cast.club, by=cast.manager, name="Yard", read=read_gauge(YEARS), year_begins=1
    )


def check_by(cast, table, years=10, allowance=0.0):
    return set_design_storm(
        club=cast.club, by=cast.manager, name="s", return_period_years=years, intensity_mm_h=24,
        table=table, climate_allowance_percent=allowance,
    )  # fmt: skip


class TestTables:
    def test_who_kept_it_is_known(self, cast, table):
        change = Change.objects.get(club=cast.club, record_uuid=table.uuid)
        assert change.by == cast.manager

    def test_a_storm_reads_its_depths_with_the_allowance(self, cast, table):
        storm = check_by(cast, table, allowance=20)
        assert design_rain_of(storm).depths_mm == pytest.approx((8 * 1.6 * 1.2, 13 * 1.6 * 1.2))
        assert "read from its row" in str(storm_working(storm).as_rows())
        between = check_by(cast, table, years=5)
        assert 8 < design_rain_of(between).depths_mm[0] < 12.8
        assert "between two rows" in str(storm_working(between).as_rows())

    def test_one_intensity_needs_no_table(self, cast):
        storm = check_by(cast, None)
        assert design_rain_of(storm) is None
        assert storm_working(storm) is None

    def test_a_return_period_outside_it_is_refused(self, cast, table):
        with pytest.raises(ValidationError, match="nothing is known of 1 in 100"):
            check_by(cast, table, years=100)
        assert not DesignStorm.objects.exists()

    def test_a_table_of_days_does_not_serve_drains(self, cast):
        days = [Depth(2, 1440, 30), Depth(10, 1440, 48)]
        table = keep_table(club=cast.club, by=cast.manager, name="Days", depths=days)
        with pytest.raises(ValidationError, match="begins at 1 h or less"):
            check_by(cast, table)

    def test_what_falls_is_refused_and_nothing_kept(self, cast):
        with pytest.raises(ValidationError, match="cannot bring less"):
            keep_table(
                club=cast.club, by=cast.manager, name="x",
                depths=[Depth(2, 15, 9), Depth(2, 60, 8)],
            )  # fmt: skip
        assert not RainTable.objects.exists()

    def test_a_table_in_use_cannot_be_changed_so_that_the_storm_fails(self, cast, table):
        check_by(cast, table)
        fewer = [one for one in depths() if one.return_years == 2]
        with pytest.raises(ValidationError, match="checked by this table"):
            keep_table(club=cast.club, by=cast.manager, name="Local", depths=fewer, row=table)
        table.refresh_from_db()
        assert len(table.depths) == 4
        keep_table(club=cast.club, by=cast.manager, name="Local", depths=depths(1.1), row=table)

    def test_a_table_in_use_stays(self, cast, table):
        check_by(cast, table)
        with pytest.raises(ValidationError, match="stays"):
            forget_table(row=table, by=cast.manager)
        assert RainTable.objects.exists()

    def test_another_clubs_table_is_not_changed(self, cast, table):
        with pytest.raises(ValidationError, match="not this club's"):
            keep_table(club=cast.other_club, by=cast.stranger, name="x", depths=depths(), row=table)


class TestTablePages:
    def test_read_first_then_kept(self, cast, as_manager):
        page = address(cast, "rain-table-new")
        given = {"name": "Typed", "source": "the book", "text": GRID}
        shown = as_manager.post(page, given)
        assert shown.status_code == 200
        assert "Keep this table" in shown.content.decode()
        assert not RainTable.objects.exists()
        kept = as_manager.post(page, given | {"keep": "yes"}, follow=True).content.decode()
        assert "Typed is kept." in kept
        assert RainTable.objects.get().depths[0] == [2.0, 15.0, 8.0]

    def test_a_file_is_read_into_the_field(self, cast, as_manager):
        upload = SimpleUploadedFile("rain.csv", "\ufeff".encode() + GRID.encode())
        shown = as_manager.post(address(cast, "rain-table-new"), {"name": "F", "upload": upload})
        assert "1 day, 34, 52, 64" in shown.content.decode()

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            (FALLS, "13 mm in 1 h follows 14 mm in 15 min"),
            (GRID.replace("26", "-999"), "Line 3.</strong> 1 in 30 year, 1 h: -999 stands for"),
            ("", "Paste the figures here"),
        ],
    )
    def test_what_is_wrong_is_named_and_nothing_lost(self, cast, as_manager, text, words):
        given = {"name": "Bad", "text": text, "keep": "yes"}
        answer = as_manager.post(address(cast, "rain-table-new"), given)
        assert answer.status_code == 422
        assert words in answer.content.decode()
        assert text.strip() in answer.content.decode()
        assert not RainTable.objects.exists()

    def test_a_binary_file_is_refused(self, cast, as_manager):
        upload = SimpleUploadedFile("rain.csv", b"\x00\x01")
        answer = as_manager.post(address(cast, "rain-table-new"), {"name": "F", "upload": upload})
        assert "binary" in answer.content.decode()

    def test_an_open_table_shows_depth_and_intensity(self, cast, as_manager, table):
        shown = as_manager.get(address(cast, "rain-table", table.uuid)).content.decode()
        assert "32.0 mm/h" in shown
        gone = as_manager.post(address(cast, "rain-table-forget", table.uuid), follow=True)
        assert "is taken away" in gone.content.decode()
        assert not RainTable.objects.exists()

    def test_the_staff_read_and_cannot_change(self, cast, client, table):
        client.force_login(cast.staff, backend="django.contrib.auth.backends.ModelBackend")
        shown = client.get(address(cast, "rain-table", table.uuid))
        assert shown.status_code == 200
        assert "Take this table away" not in shown.content.decode()
        assert client.post(address(cast, "rain-table", table.uuid), {}).status_code == 403

    def test_the_rain_page_names_the_storm_and_its_table(self, cast, as_manager, table):
        check_by(cast, table, allowance=10)
        shown = as_manager.get(address(cast, "rain")).content.decode()
        assert "10 % added for climate change" in shown
        assert "in use" in shown


class TestGauge:
    def test_read_kept_fitted_and_kept_as_a_table(self, cast, as_manager):
        given = {"name": "Yard", "source": "", "year_begins": "1", "text": YEARS, "keep": "yes"}
        page = as_manager.post(address(cast, "rain-gauge-new"), given, follow=True)
        record = GaugeRecord.objects.get()
        shown = page.content.decode()
        assert 'data-chart="fit"' in shown
        assert "Gumbel by L-moments, 24 years" in shown
        gev = as_manager.get(page.request["PATH_INFO"], {"law": "gev", "duration": "1440"})
        assert "In 1 day: GEV by L-moments" in gev.content.decode()
        as_manager.post(address(cast, "rain-gauge", record.uuid), {"law": "gumbel"})
        table = RainTable.objects.get()
        assert table.origin == "fitted"
        assert max(years for years, _, _ in table.depths) == 30  # within twice the record
        fit = fit_record(record, "gumbel").durations[0].fit
        assert [2.0, 15.0, round(fit.depth_at(2), 1)] in table.depths

    def test_bad_lines_are_told_before_it_is_kept(self, cast, as_manager):
        text = YEARS.replace("1996, 8, 41", "1996, -999, 41") + "\n2030, 9, 8\n"
        given = {"name": "Yard", "year_begins": "1", "text": text}
        shown = as_manager.post(address(cast, "rain-gauge-new"), given).content.decode()
        assert re.search(r"Line 3\.</strong> 1996, 15 min: no value \(-999\)", shown)
        assert "8 mm in 1 day is less than 9 mm in 15 min" in shown
        assert not GaugeRecord.objects.exists()

    def test_a_record_of_which_nothing_can_be_used_is_told_line_by_line(self, cast, as_manager):
        lines = [f"2001-01-0{day}, {word}" for day, word in enumerate("abcdef", start=1)]
        given = {"name": "Yard", "year_begins": "1", "text": "day, mm\n" + "\n".join(lines)}
        answer = as_manager.post(address(cast, "rain-gauge-new"), given)
        assert answer.status_code == 422
        shown = answer.content.decode()
        for number in range(2, 8):
            assert f"<li><strong>Line {number}.</strong> 2001-01-0{number - 1}" in shown
        assert not GaugeRecord.objects.exists()

    def test_inches_are_refused(self, cast, as_manager):
        given = {"name": "Yard", "year_begins": "1", "text": "date, rain (in)\n2001-01-01, 0.2"}
        answer = as_manager.post(address(cast, "rain-gauge-new"), given)
        assert answer.status_code == 422
        assert "says inches" in answer.content.decode()

    def test_few_years_are_refused_or_warned_of(self, cast, as_manager):
        for years, words in ((9, "9 years are too few"), (12, "Only 12 years")):
            text = "\n".join(YEARS.splitlines()[: years + 1])
            record = keep_gauge(
                club=cast.club, by=cast.manager, name="Y", read=read_gauge(text), year_begins=1
            )
            shown = as_manager.get(address(cast, "rain-gauge", record.uuid)).content.decode()
            assert words in shown
        nine = GaugeRecord.objects.last()
        assert nine is not None
        refused = as_manager.post(address(cast, "rain-gauge", nine.uuid), {"law": "gumbel"})
        assert refused.status_code == 422
        assert not RainTable.objects.exists()

    def test_a_fit_that_would_fall_is_refused(self, cast):
        """Each duration is fitted by itself, so rare depths may cross; then no table is made."""
        rows = "\n".join(
            f"{1990 + n}, {10 + 3 * (n % 7) ** 1.5:.1f}, {46 + n % 3}" for n in range(20)
        )
        record = keep_gauge(
            club=cast.club, by=cast.manager, name="Y", year_begins=1,
            read=read_gauge(f"year, 15 min, 1 day\n{rows}\n"),
        )  # fmt: skip
        with pytest.raises(ValidationError, match="cannot bring less rain"):
            keep_fitted(
                club=cast.club, by=cast.manager, name="x", record=record,
                fitted=fit_record(record, "gumbel"),
            )  # fmt: skip

    def test_rain_by_day_is_kept_and_the_newer_record_stands(self, cast):
        def keep(text, name):
            return keep_gauge(
                club=cast.club, by=cast.manager, name=name, read=read_gauge(text), year_begins=1
            )

        year = "\n".join(
            f"{datetime.date(2024, 1, 1) + datetime.timedelta(days=n)}, {n % 7}"
            for n in range(366)
            if n != 40
        )
        keep(year, "first")
        keep(year.replace("2024-01-03, 2", "2024-01-03, 9.5"), "mended")
        rain = daily_rain_of(cast.club)
        assert len(rain) == 365
        assert rain[datetime.date(2024, 1, 3)] == 9.5
        assert datetime.date(2024, 2, 10) not in rain

    def test_it_can_be_taken_away(self, cast, as_manager, record):
        as_manager.post(address(cast, "rain-gauge-forget", record.uuid))
        assert not GaugeRecord.objects.exists()


class TestRunOffPages:
    def test_the_greenfield_rate_and_what_is_held_back(self, cast, as_manager, table):
        asked = {"area_ha": 10, "saar_mm": 800, "soil_class": 4, "region": "5", "coefficient": 0.4}
        page = address(cast, "let-out")
        shown = as_manager.get(page, asked).content.decode()
        assert "51.4 l/s" in shown
        assert "takes a table of depths" in shown
        check_by(cast, table)
        assert "to be held back in s" in as_manager.get(page, asked).content.decode()
        wrong = as_manager.get(page, asked | {"saar_mm": 31})
        assert wrong.status_code == 422
        assert "inches" in wrong.content.decode()

    def test_days_take_the_tightest_drain_unless_told_else(self, cast, drain, as_manager):
        shown = as_manager.get(address(cast, "rain-days")).content.decode()
        assert re.search(r"Area and capacity are those of P[12]", shown)
        asked = {
            "days_mm": "40, 0, 20", "dry_days": 2, "area_ha": 10, "runoff_share": 0.5,
            "room_mm": 0, "soil_gives_mm_d": 7, "dries_mm_d": 0, "drain_l_s": 11.574,
        }  # fmt: skip
        shown = as_manager.get(address(cast, "rain-days"), asked).content.decode()
        assert "60 mm" in shown
        assert "10.0 mm" in shown
        # 10 mm a day pass: 30, 20, 30, 20 and 10 mm stand at the end of the five days.
        assert shown.count("▲ stands") == 5
        wrong = as_manager.get(address(cast, "rain-days"), asked | {"days_mm": "12 much"})
        assert "Day 2" in wrong.content.decode()

    def test_every_formula_for_one_way(self, cast, as_manager):
        asked = {"length_m": 500, "fall_m": 10, "area_ha": 5, "curve_number": 74, "rain_mm": 100}
        shown = as_manager.get(address(cast, "run-off"), asked).content.decode()
        assert "10.53" in shown
        assert "by the NRCS lag" in shown
        steep = as_manager.get(address(cast, "run-off"), asked | {"fall_m": 900})
        assert "steeper than 1 in 1" in steep.content.decode()


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("10, 25, 30", [10, 25, 30]),
        ("10 25;30", [10, 25, 30]),
        ("10.5,12.5,3.0", [10.5, 12.5, 3]),
        ("12.5", [12.5]),
    ],
)
def test_days_are_read_where_a_comma_is_sure(text, days):
    assert read_days(text) == days


@pytest.mark.parametrize("text", ["2,5,3", "12,5 26 31", "2,5"])
def test_a_comma_that_may_be_a_decimal_sign_is_asked_about(text):
    with pytest.raises(ValidationError, match="decimal comma"):
        read_days(text)


def test_a_bore_in_inches_is_told_in_words(cast, as_manager):
    pipe = draw_pipe(cast.club, cast.manager, "P9", (0, 0), (50, 0))
    with pytest.raises(ValidationError, match="Six inches are 150 mm"):
        set_reach(feature=pipe, by=cast.manager, inside_diameter_mm=6)
    page = as_manager.post(
        reverse("drainage:reach", args=[cast.club.slug, pipe.uuid]), {"inside_diameter_mm": "6"}
    ).content.decode()
    assert "An inside diameter is in millimetres, 30 to 3,000." in page
    assert "Ensure this value" not in page
