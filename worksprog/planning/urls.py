from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from worksprog.planning import views, views_drains

app_name = "planning"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.plan_page, name="plan"),
    path("make/", views.make_page, name="make"),
    path("baseline/", views.baseline_page, name="baseline"),
    path("try/", views.try_page, name="try"),
    path("items/<uuid:uuid>/", views.item_page, name="item"),
    path("states/", views.feature_states_page, name="feature-states"),
    path("drains/", views_drains.drain_weeks_page, name="drain-weeks"),
    path("drains/notice/", views_drains.drain_notice, name="drain-notice"),
    path("drains/spells/", views_drains.drain_spells_page, name="drain-spells"),
    path("windows/", views.windows_page, name="windows"),
    path("windows/usual/", views.usual_windows_page, name="usual-windows"),
    path("windows/<uuid:uuid>/", views.window_page, name="window"),
    path("windows/<uuid:uuid>/drop/", views.drop_window_page, name="drop-window"),
    path("crew/", views.crew_page, name="crew"),
    path("crew/weeks/", views.weeks_page, name="crew-weeks"),
    path("crew/usual/", views.usual_year_page, name="usual-year"),
    path("crew/rules/", views.rules_page, name="rules"),
    path("crew/closures/", views.closures_page, name="closures"),
    path("crew/closures/<uuid:uuid>/drop/", views.drop_closure_page, name="drop-closure"),
]
