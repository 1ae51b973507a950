from __future__ import annotations

from django.urls import path

from worksprog.works.views import item, prices, programme, sizing

app_name = "works"
urlpatterns = [
    path("", programme.programme, name="programme"),
    path("programmes/new/", programme.new_programme, name="new-programme"),
    path("programmes/<uuid:uuid>/", programme.programme_of, name="programme-of"),
    path("programmes/<uuid:uuid>/change/", programme.edit_programme, name="edit-programme"),
    path("programmes/<uuid:uuid>/work-out/", programme.build_all, name="build-all"),
    path("programmes/<uuid:uuid>/projects/new/", programme.new_project, name="new-project"),
    path("projects/<uuid:uuid>/", programme.project, name="project"),
    path("projects/<uuid:uuid>/change/", programme.edit_project, name="edit-project"),
    path("projects/<uuid:uuid>/approve/", programme.approve, name="approve"),
    path("projects/<uuid:uuid>/phases/new/", programme.new_phase, name="new-phase"),
    path("phases/<uuid:uuid>/change/", programme.edit_phase, name="edit-phase"),
    path("phases/<uuid:uuid>/items/new/", item.new_item, name="new-item"),
    path("features/<uuid:uuid>/panel/", item.feature_panel, name="feature-panel"),
    path("items/<uuid:uuid>/", item.item, name="item"),
    path("items/<uuid:uuid>/change/", item.edit_item, name="edit-item"),
    path("items/<uuid:uuid>/quantities/", item.quantities, name="quantities"),
    path("items/<uuid:uuid>/work-out/", item.build, name="build"),
    path("items/<uuid:uuid>/state/", item.state, name="state"),
    path("items/<uuid:uuid>/links/new/", item.new_link, name="new-link"),
    path("items/<uuid:uuid>/lines/new/", item.new_line, name="new-line"),
    path("items/<uuid:uuid>/consents/new/", item.new_consent, name="new-consent"),
    path("items/<uuid:uuid>/spends/new/", item.new_spend, name="new-spend"),
    path("links/<uuid:uuid>/remove/", item.remove_link, name="remove-link"),
    path("lines/<uuid:uuid>/", item.line, name="line"),
    path("lines/<uuid:uuid>/release/", item.release_line, name="release-line"),
    path("consents/<uuid:uuid>/", item.consent, name="consent"),
    path("prices/", prices.prices, name="prices"),
    path("prices/new/", prices.new_price, name="new-price"),
    path("prices/start/", prices.start_prices, name="start-prices"),
    path("prices/import/", prices.import_prices, name="import-prices"),
    path("prices/price-book.csv", prices.export_prices, name="export-prices"),
    path("prices/<uuid:uuid>/", prices.price, name="price"),
    path("sizing/", sizing.sizing_list, name="sizing-list"),
    path("sizing/<uuid:uuid>/", sizing.sizing, name="sizing"),
    path("sizing/<uuid:uuid>/run/", sizing.sizing_run, name="sizing-run"),
    path("rates/new/", prices.new_rate, name="new-rate"),
    path("rates/<uuid:uuid>/", prices.rate, name="rate"),
]
