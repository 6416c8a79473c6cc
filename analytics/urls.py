"""Routes of what the record says."""

from __future__ import annotations

from django.urls import URLPattern, path

from analytics import views

urlpatterns: list[URLPattern] = [
    path("techniques/", views.techniques, name="techniques"),
    path("techniques.csv", views.techniques_csv, name="techniques_csv"),
    path("devices/", views.devices, name="devices"),
    path("devices.csv", views.devices_csv, name="devices_csv"),
    path("numbers/", views.how_numbers_are_made, name="how_numbers_are_made"),
]
