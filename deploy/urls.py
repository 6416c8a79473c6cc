"""Routes of the whole."""

from __future__ import annotations

from django.urls import URLPattern, path

from deploy.start import start

urlpatterns: list[URLPattern] = [path("", start, name="start")]
