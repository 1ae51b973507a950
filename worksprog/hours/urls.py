from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from worksprog.hours.views import panel, phone, progress, promises, rates, week

app_name = "hours"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", phone.phone, name="home"),
    path("intake/", phone.intake, name="intake"),
    # Beside the page, not below /static/: a worker rules only the folder it is served from.
    path("worker.js", phone.worker, name="worker"),
    path("hours.webmanifest", phone.manifest, name="manifest"),
    path("week/", week.week, name="week"),
    path("week/approve/", week.approve, name="approve"),
    path("week/hours.csv", week.as_csv, name="csv"),
    path("entries/<uuid:uuid>/query/", week.query, name="query"),
    path("entries/<uuid:uuid>/correct/", week.correct, name="correct"),
    path("progress/", progress.progress, name="progress"),
    path("rates/", rates.rates, name="rates"),
    path("rates/<slug:kind>/", rates.rate, name="rate"),
    path("rates/<slug:kind>/adopt/", rates.adopt, name="adopt-rate"),
    path("rates/<slug:kind>/book/", rates.give_up, name="give-up-rate"),
    path("jobs/<uuid:uuid>/evidence/", rates.say, name="evidence"),
    path("calibration/", rates.calibration, name="calibration"),
    path("promises/", promises.promises, name="promises"),
    path("promises/promises.csv", promises.promises_csv, name="promises-csv"),
    path("projects/<uuid:uuid>/routine-figures/", promises.routine_figures, name="routine-figures"),
    path("features/<uuid:uuid>/panel/", panel.feature_panel, name="feature-panel"),
]
