"""The price book, under the desk. Clients have nothing of it."""

from django.urls import URLPattern, path

from shopdesk.pricebook import desk as at_desk

desk: list[URLPattern] = [
    path("prices/", at_desk.prices, name="prices"),
    path("prices/begin/", at_desk.begin, name="price-begin"),
    path("prices/rates/", at_desk.rates, name="price-rates"),
    path("prices/schedules/new/", at_desk.schedule, name="price-schedule-new"),
    path("prices/schedules/<int:pk>/", at_desk.schedule, name="price-schedule"),
    path("prices/steps/", at_desk.steps, name="price-steps"),
    path("prices/steps/new/", at_desk.step, name="price-step-new"),
    path("prices/steps/<int:pk>/", at_desk.step, name="price-step"),
    path("prices/materials/", at_desk.materials, name="price-materials"),
    path("prices/materials/new/", at_desk.material, name="price-material-new"),
    path("prices/materials/<int:pk>/", at_desk.material, name="price-material"),
    path("prices/equipment/", at_desk.tools, name="price-tools"),
    path("prices/equipment/new/", at_desk.tool, name="price-tool-new"),
    path("prices/equipment/<int:pk>/", at_desk.tool, name="price-tool"),
    path("prices/use/<str:kind>/<int:pk>/", at_desk.use, name="price-use"),
    path("prices/files/<str:kind>.csv", at_desk.sheet_out, name="price-sheet-out"),
    path("prices/files/<str:kind>/", at_desk.sheet_in, name="price-sheet-in"),
    path("prices/files/look/<uuid:key>/", at_desk.sheet, name="price-sheet"),
]
