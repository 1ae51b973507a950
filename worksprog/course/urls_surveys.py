"""Surveys, the ground and what is handed out, below the course's own addresses."""

from __future__ import annotations

from django.urls import path

from worksprog.course import views_ground, views_surveys, views_water

urlpatterns = [
    path("surveys/", views_surveys.survey_list, name="surveys"),
    path("surveys/new/", views_surveys.survey_new, name="survey-new"),
    path("surveys/drafts/<uuid:uuid>/", views_surveys.survey_preview, name="survey-preview"),
    path("surveys/drafts/<uuid:uuid>/layers/", views_surveys.survey_mapping, name="survey-mapping"),
    path("surveys/drafts/<uuid:uuid>/axes/", views_surveys.survey_axes, name="survey-axes"),
    path("surveys/drafts/<uuid:uuid>/accept/", views_surveys.survey_accept, name="survey-accept"),
    path(
        "surveys/drafts/<uuid:uuid>/discard/", views_surveys.survey_discard, name="survey-discard"
    ),
    path("surveys/<uuid:uuid>/", views_surveys.survey_detail, name="survey-detail"),
    path("surveys/<uuid:uuid>/points.csv", views_surveys.survey_csv, name="survey-csv"),
    path("export/course.geojson", views_surveys.export_geojson, name="export-geojson"),
    path("export/course.gpkg", views_surveys.export_geopackage, name="export-geopackage"),
    path("ground/", views_ground.ground_page, name="ground"),
    path("ground/make/", views_ground.ground_make, name="ground-make"),
    path("ground/step/", views_ground.ground_contour_step, name="ground-step"),
    path("ground/ground.json", views_ground.ground_facts, name="ground-facts"),
    path("ground/contours.geojson", views_ground.ground_contours, name="contours"),
    path("ground/shading.png", views_ground.ground_shading, name="shading"),
    path("ground/level.json", views_ground.ground_level, name="ground-level"),
    path("ground/line.json", views_ground.ground_line, name="ground-line"),
    path("ground/water/", views_water.water_page, name="water"),
    path("ground/water/make/", views_water.water_make, name="water-make"),
    path("ground/water/lines.geojson", views_water.water_lines, name="water-lines"),
    path("ground/water/wetness.png", views_water.wetness_picture, name="wetness"),
    path("ground/water/distance.png", views_water.distance_picture, name="survey-distance"),
]
