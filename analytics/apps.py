"""Analytics as a Django app."""

from __future__ import annotations

from django.apps import AppConfig


class AnalyticsConfig(AppConfig):
    """What the record says."""

    name = "analytics"
    default_auto_field = "django.db.models.BigAutoField"
