"""The registry as a Django app: after migrating, the guards and the head of the chain are put in place."""

from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class RegistryConfig(AppConfig):
    """The record of device complications."""

    name = "registry"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from registry.guards import after_migrate

        post_migrate.connect(after_migrate, sender=self)
