from __future__ import annotations

from django.urls import URLPattern, URLResolver, path

from worksprog.drainage.views import (
    as_built,
    catchments,
    laterals,
    measure,
    rain,
    runoff,
    sheets,
    tidy,
    water,
)
from worksprog.drainage.views import network as views

app_name = "drainage"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", views.network, name="network"),
    path("order/", views.build_order, name="order"),
    path("storm/", views.storm, name="storm"),
    path("tidy/", tidy.tidy, name="tidy"),
    path("tidy/notes/", tidy.tidy_notes, name="tidy-notes"),
    path("reach/<uuid:uuid>/tidy-notes/", tidy.tidy_notes, name="reach-tidy-notes"),
    path("service/<uuid:uuid>/", tidy.service, name="service"),
    path("rain/", rain.rain, name="rain"),
    path("rain/table/new/", rain.new_table, name="rain-table-new"),
    path("rain/table/<uuid:uuid>/", rain.table, name="rain-table"),
    path("rain/table/<uuid:uuid>/forget/", rain.table_forget, name="rain-table-forget"),
    path("rain/gauge/new/", rain.new_gauge, name="rain-gauge-new"),
    path("rain/gauge/<uuid:uuid>/", rain.gauge, name="rain-gauge"),
    path("rain/gauge/<uuid:uuid>/forget/", rain.gauge_forget, name="rain-gauge-forget"),
    path("rain/days/", runoff.days, name="rain-days"),
    path("rain/let-out/", runoff.let_out, name="let-out"),
    path("rain/run-off/", runoff.run_off, name="run-off"),
    path("reach/<uuid:uuid>/", views.reach, name="reach"),
    path("reach/<uuid:uuid>/swap/", views.swap, name="swap"),
    path("reach/<uuid:uuid>/long-section/", views.long_section, name="long-section"),
    path("reach/<uuid:uuid>/sheets/", sheets.section_sheet, name="section-sheet"),
    path("reach/<uuid:uuid>/sheets/<int:number>.svg", sheets.section_svg, name="section-svg"),
    path("reach/<uuid:uuid>/sheets/sheets.pdf", sheets.section_pdf, name="section-pdf"),
    path("reach/<uuid:uuid>/sheets/make/", sheets.section_job, name="section-job"),
    path("sheets/<uuid:uuid>.pdf", sheets.section_made, name="section-made"),
    path("reach/<uuid:uuid>/setting-out/", sheets.setting_out, name="setting-out"),
    path(
        "reach/<uuid:uuid>/setting-out/stakes.csv", sheets.setting_out_csv, name="setting-out-csv"
    ),
    path(
        "reach/<uuid:uuid>/setting-out/table.pdf", sheets.setting_out_print, name="setting-out-pdf"
    ),
    path("map-words/", views.map_words, name="map-words"),
    path("feature/<uuid:uuid>/panel/", views.feature_panel, name="feature-panel"),
    path("node/<uuid:uuid>/", views.node, name="node"),
    path("laterals/lines.geojson", laterals.lines, name="laterals-lines"),
    path("laterals/", laterals.areas, name="laterals-list"),
    path("laterals/<uuid:uuid>/", laterals.laterals, name="laterals"),
    path("laterals/<uuid:uuid>/laterals.csv", laterals.laterals_csv, name="laterals-csv"),
    path("as-built/", as_built.as_built_list, name="as-built-list"),
    path("as-built/file/", as_built.levels_file, name="as-built-file"),
    path("as-built/<uuid:uuid>/", as_built.as_built, name="as-built"),
    path("as-built/level/<uuid:uuid>/correct/", as_built.correct, name="as-built-correct"),
    path("as-built/level/<uuid:uuid>/photo/", as_built.photo, name="as-built-photo"),
    path("measure/", measure.measure, name="measure"),
    path("measure/intake/", measure.intake, name="measure-intake"),
    # Beside the page, not below /static/: a worker rules only the folder it is served from.
    path("measure/worker.js", measure.worker, name="measure-worker"),
    path("register/", as_built.register, name="register"),
    path("register/register.csv", as_built.register_csv, name="register-csv"),
    path("register/drains.gpkg", as_built.as_geopackage, name="drains-gpkg"),
    path("register/drains.dxf", as_built.as_dxf, name="drains-dxf"),
    path("register/drains.csv", as_built.as_csv, name="drains-csv"),
    path("ponds/", water.ponds, name="ponds"),
    path("ponds/<uuid:uuid>/", water.pond, name="pond"),
    path("through/", water.storms, name="storms"),
    path("through/<uuid:uuid>/", water.through, name="through"),
    path("through/<uuid:uuid>/forget/", water.forget, name="through-forget"),
    path("catchments/", catchments.catchments, name="catchments"),
]
