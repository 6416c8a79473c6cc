"""Routes of what the record says."""

from __future__ import annotations

from django.urls import URLPattern, path, register_converter

from analytics.views import (
    denominators,
    device,
    devices,
    figure_files,
    lots,
    marks,
    numbers,
    places,
    rescue_tools,
    shelves,
    signals,
    sites,
    techniques,
)
from analytics.views.model_address import ModelCode

register_converter(ModelCode, "model")

urlpatterns: list[URLPattern] = [
    path("techniques/", techniques.techniques, name="techniques"),
    path("techniques.csv", techniques.techniques_csv, name="techniques_csv"),
    path("devices/", devices.devices, name="devices"),
    path("devices/model/<model:code>/", device.device, name="device"),
    path("devices/events/<model:code>.csv", device.device_events_csv, name="device_events_csv"),
    path("devices/over-time/", device.over_time, name="over_time"),
    path("devices/annotations/", marks.annotation_added, name="annotation_added"),
    path("devices/annotations/<slug:code>/end/", marks.annotation_ended, name="annotation_ended"),
    path("devices.csv", devices.devices_csv, name="devices_csv"),
    path("devices/denominators/", denominators.denominators, name="denominators"),
    path("devices/denominators.csv", denominators.denominators_csv, name="denominators_csv"),
    path("devices/rescue/", rescue_tools.rescue_tools, name="rescue_tools"),
    path("devices/rescue.csv", rescue_tools.rescue_tools_csv, name="rescue_tools_csv"),
    path("devices/lots/", lots.lots, name="lots"),
    path("devices/lots.csv", lots.lots_csv, name="lots_csv"),
    path("devices/lots-set-aside.csv", lots.lots_aside_csv, name="lots_aside_csv"),
    path("devices/lots/set-aside/", lots.lot_set_aside, name="lot_set_aside"),
    path("devices/lots/of-case/<slug:code>/", lots.case_lots, name="case_lots"),
    path("devices/lots/<slug:code>/release/", lots.lot_released, name="lot_released"),
    path("places/", places.places, name="places"),
    path("lesions.csv", places.places_csv, name="places_csv"),
    path("tools-wanted/", shelves.tools_wanted, name="tools_wanted"),
    path("tools-wanted.csv", shelves.tools_wanted_csv, name="tools_wanted_csv"),
    path("signals/", signals.signals, name="signals"),
    path("signals/<slug:rule>/<model:subject>/", signals.signal, name="signal"),
    path("signals/<slug:rule>/<model:subject>/answer/", signals.signal_answered, name="signal_answered"),
    path("sites/", sites.sites, name="sites"),
    path("sites.csv", sites.sites_csv, name="sites_csv"),
    path("figures/<slug:name>.<slug:kind>", figure_files.figure_file, name="figure_file"),
    path("numbers/", numbers.how_numbers_are_made, name="how_numbers_are_made"),
]
