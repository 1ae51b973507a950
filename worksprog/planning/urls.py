from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from worksprog.planning.views import crew, drains, health, pages, play, risk, solving

app_name = "planning"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", pages.plan_page, name="plan"),
    path("make/", pages.make_page, name="make"),
    path("solve/", solving.solve_page, name="solve"),
    path("wishes/", solving.wishes_page, name="wishes"),
    path("wishes/<uuid:uuid>/take-back/", solving.take_back_page, name="take-back"),
    path("baseline/", pages.baseline_page, name="baseline"),
    path("try/", pages.try_page, name="try"),
    path("items/<uuid:uuid>/", pages.item_page, name="item"),
    path("states/", pages.feature_states_page, name="feature-states"),
    path("drains/", drains.drain_weeks_page, name="drain-weeks"),
    path("drains/notice/", drains.drain_notice, name="drain-notice"),
    path("drains/spells/", drains.drain_spells_page, name="drain-spells"),
    path("risk/", risk.risk_page, name="risk"),
    path("health/", health.health_page, name="plan-health"),
    path("windows/", pages.windows_page, name="windows"),
    path("windows/usual/", pages.usual_windows_page, name="usual-windows"),
    path("windows/<uuid:uuid>/", pages.window_page, name="window"),
    path("windows/<uuid:uuid>/drop/", pages.drop_window_page, name="drop-window"),
    path("play/", play.play_page, name="play"),
    path("play/fixtures/", play.fixtures_page, name="fixtures"),
    path("play/fixtures/<uuid:uuid>/drop/", play.drop_fixture_page, name="drop-fixture"),
    path("play/rules/", play.play_rules_page, name="play-rules"),
    path("play/money/", play.releases_page, name="releases"),
    path("play/money/<uuid:uuid>/drop/", play.drop_release_page, name="drop-release"),
    path("crew/", pages.crew_page, name="crew"),
    path("crew/weeks/", pages.weeks_page, name="crew-weeks"),
    path("crew/usual/", pages.usual_year_page, name="usual-year"),
    path("crew/people/", crew.people_page, name="people"),
    path("crew/people/add/", crew.add_member_page, name="add-person"),
    path("crew/people/<uuid:uuid>/", crew.member_page, name="person"),
    path("crew/people/<uuid:uuid>/drop/", crew.drop_member_page, name="drop-person"),
    path("crew/absences/", crew.absences_page, name="absences"),
    path("crew/absences/<uuid:uuid>/drop/", crew.drop_absence_page, name="drop-absence"),
    path("crew/sickness/", crew.sickness_page, name="sickness"),
    path("crew/rules/", pages.rules_page, name="rules"),
    path("crew/closures/", pages.closures_page, name="closures"),
    path("crew/closures/<uuid:uuid>/drop/", pages.drop_closure_page, name="drop-closure"),
]
