"""Every address: people first, then one prefix per club."""

from __future__ import annotations

from django.urls import include, path

from worksprog.runs.health import healthz

urlpatterns = [
    path("healthz", healthz, name="health"),
    path("", include("worksprog.clubs.urls")),
    path("c/<slug:club_slug>/", include("worksprog.clubs.urls_club")),
    path("c/<slug:club_slug>/runs/", include("worksprog.clubs.urls_runs")),
    path("c/<slug:club_slug>/course/", include("worksprog.course.urls")),
    path("c/<slug:club_slug>/drainage/", include("worksprog.drainage.urls")),
    path("c/<slug:club_slug>/works/", include("worksprog.works.urls")),
    path("c/<slug:club_slug>/planning/", include("worksprog.planning.urls")),
    path("c/<slug:club_slug>/hours/", include("worksprog.hours.urls")),
    path("c/<slug:club_slug>/reports/", include("worksprog.reports.urls")),
]
