"""The gauge's record at the yard, the table fitted to it, and the storm read from the table."""

from __future__ import annotations

from worksprog.calc.rainfall.gauge import read_gauge
from worksprog.clubs.models import Club, User
from worksprog.drainage.queries.rain import fit_record
from worksprog.drainage.services import set_design_storm
from worksprog.drainage.services.rain import keep_fitted, keep_gauge

INVENTED = "invented for the demonstration club"
# As a gauge's file comes: a year when it was out of order, and a value that was lost.
MOST_OF_EACH_YEAR = """\
year, 15 min, 30 min, 1 h, 2 h, 6 h, 1 day, 2 days, 4 days
1999, 7.1, 10.5, 13.9, 20.3, 30.1, 42.3, 51.2, 62.9
2000, 5.5, 7.9, 10.0, 13.9, 21.7, 34.8, 47.8, 66.2
2001, 4.2, 7.3, 10.9, 17.4, 27.3, 39.3, 48.9, 61.7
2002, 6.2, 8.4, 10.2, 13.8, 20, 28.8, 35.9, 45.4
2003, 5.5, 8.0, 10.2, 14.5, 21.7, 31.7, 40, 51.2
2004, 7.1, 12.0, 17.7, 27.9, 41.5, 53.9, 59.6, 65.9
2005, 7.1, 11.6, 16.4, 25.5, 36.8, 45.4, 47, 47.4
2006, 5.2, 7.7, 10.3, 15.3, 22.1, 29.1, 32.7, 36.9
2007, 4.5, 7.0, 9.7, 14.5, 22.1, 31.7, 39.4, 49.7
2008, 8.8, 11.7, 13.6, 17.5, 24.6, 35.1, 43.1, 53.9
2010, 5.4, 8.1, 10.9, 16.2, 23.8, 32.1, 37.2, 43.5
2011, 5.9, 7.4, 8.4, 10.3, 16, 28.6, 42.4, 62.4
2012, 5.4, 7.5, 9.6, 13.5, 21.3, 34.6, 47.8, 66.6
2013, 6.7, 9.9, 13.0, 18.9, 28, 39, 46.8, 56.9
2014, 7.2, 9.2, -999, 12.8, 18.4, 28.8, 38.7, 52.6
2015, 6.5, 9.9, 13.1, 19.2, 28, 37.3, 42.7, 49.2
2016, 6.7, 8.5, 9.6, 12, 17.3, 26.7, 35.6, 47.9
2017, 5.9, 8.0, 9.6, 12.8, 19.8, 32.2, 44.6, 62.3
2018, 6.3, 10.4, 15.1, 23.7, 35.1, 45.7, 50.8, 56.6
2019, 6.9, 9.6, 12.0, 16.7, 24.6, 35.9, 45.1, 57.7
2020, 5.2, 7.5, 9.9, 14.2, 21, 29.4, 35.7, 44
2021, 6.2, 8.3, 9.9, 12.9, 20.7, 36.7, 54.2, 79.6
2022, 5.5, 8.2, 10.9, 16.1, 23.8, 32.6, 38.6, 46.3
2023, 8.3, 11.1, 13.2, 17.3, 24, 32.1, 37, 43.1
2024, 8.5, 12.2, 15.9, 22.7, 33.6, 47.7, 58.5, 72.8
2025, 6.4, 8.5, 10.0, 12.8, 18.1, 26.5, 33.4, 42.9
"""


def set_rain(club: Club, by: User) -> None:
    """The record, Gumbel's law fitted to it, and its 1 in 2 year storm: what grass is drained for."""
    record = keep_gauge(
        club=club,
        by=by,
        name="Gauge at the yard, 1999 to 2025",
        read=read_gauge(MOST_OF_EACH_YEAR),
        year_begins=1,
        source=INVENTED,
    )
    table = keep_fitted(
        club=club,
        by=by,
        name="Gauge at the yard, Gumbel",
        record=record,
        fitted=fit_record(record, "gumbel"),
    )
    set_design_storm(
        club=club,
        by=by,
        name="1 in 2 year",
        return_period_years=2,
        intensity_mm_h=24.0,
        source=f"{INVENTED}; a real one has its own rainfall table",
        table=table,
        climate_allowance_percent=10.0,
    )
