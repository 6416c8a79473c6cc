"""The whole registry's own commands as a Django app."""

from __future__ import annotations

from django.apps import AppConfig


class DeployConfig(AppConfig):
    """Commands that run the whole."""

    name = "deploy"
