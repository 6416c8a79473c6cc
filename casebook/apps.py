"""The casebook as a Django app."""

from __future__ import annotations

from django.apps import AppConfig


class CasebookConfig(AppConfig):
    """Teaching and release."""

    name = "casebook"
    default_auto_field = "django.db.models.BigAutoField"
