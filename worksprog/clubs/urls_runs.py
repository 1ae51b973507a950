from __future__ import annotations

from django.urls import path

from worksprog.clubs import views_runs as views

app_name = "runs"
urlpatterns = [
    path("", views.run_list, name="list"),
    path("<uuid:uuid>/", views.run_page, name="run"),
    path("<uuid:uuid>/state/", views.run_state, name="state"),
    path("<uuid:uuid>/cancel/", views.cancel, name="cancel"),
]
