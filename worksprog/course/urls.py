from __future__ import annotations

from django.urls import path

from worksprog.course import urls_surveys, views

app_name = "course"
urlpatterns = [
    path("map/", views.map_page, name="map"),
    path("map/features.json", views.map_data, name="map-data"),
    path("map/draw/", views.draw, name="draw"),
    path("map/measure/", views.measure, name="measure"),
    path("features/", views.features, name="features"),
    path("features/<uuid:uuid>/", views.feature, name="feature"),
    path("features/<uuid:uuid>/panel/", views.feature_panel, name="feature-panel"),
    path("features/<uuid:uuid>/shape/", views.reshape, name="reshape"),
    path("features/<uuid:uuid>/split/", views.split, name="split"),
    path("features/<uuid:uuid>/join/", views.join, name="join"),
    path("features/<uuid:uuid>/turn/", views.turn, name="turn"),
    path("features/<uuid:uuid>/state/", views.state, name="state"),
    path("features/<uuid:uuid>/drop/", views.drop, name="drop"),
    path("holes/", views.holes, name="holes"),
    path("holes/<uuid:uuid>/", views.hole, name="hole"),
    *urls_surveys.urlpatterns,
]
