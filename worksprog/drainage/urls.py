from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from worksprog.drainage.views import laterals
from worksprog.drainage.views import network as views

app_name = "drainage"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.network, name="network"),
    path("order/", views.build_order, name="order"),
    path("storm/", views.storm, name="storm"),
    path("reach/<uuid:uuid>/", views.reach, name="reach"),
    path("reach/<uuid:uuid>/swap/", views.swap, name="swap"),
    path("reach/<uuid:uuid>/long-section/", views.long_section, name="long-section"),
    path("map-words/", views.map_words, name="map-words"),
    path("feature/<uuid:uuid>/panel/", views.feature_panel, name="feature-panel"),
    path("node/<uuid:uuid>/", views.node, name="node"),
    path("laterals/lines.geojson", laterals.lines, name="laterals-lines"),
    path("laterals/", laterals.areas, name="laterals-list"),
    path("laterals/<uuid:uuid>/", laterals.laterals, name="laterals"),
    path("laterals/<uuid:uuid>/laterals.csv", laterals.laterals_csv, name="laterals-csv"),
]
