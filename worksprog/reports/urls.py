from __future__ import annotations

from django.urls import path

from worksprog.reports import views

app_name = "reports"
urlpatterns = [
    path("", views.report_list, name="list"),
    path("new/", views.new, name="new"),
    path("decisions/", views.decisions, name="decisions"),
    path("decisions/<uuid:uuid>/answer/", views.answer, name="answer"),
    path("decisions/<uuid:uuid>/drop/", views.drop_decision, name="drop-decision"),
    path("<uuid:uuid>/", views.report, name="report"),
    path("<uuid:uuid>/edit/", views.edit, name="edit"),
    path("<uuid:uuid>/ask/", views.ask, name="ask"),
    path("<uuid:uuid>/make/", views.make, name="make"),
    path("<uuid:uuid>/issue/", views.issue, name="issue"),
    path("<uuid:uuid>/drop/", views.drop, name="drop"),
    path("<uuid:uuid>/report.pdf", views.download, name="download"),
]
