"""Emptying the database between tests; a record that is kept is never emptied."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.commands import flush

from deploy.commands import Refusal
from registry import guards


class Command(flush.Command):
    """Django's own `flush`, for tests alone."""

    help = "Empties the database between tests. Outside tests it refuses: the record is append-only."

    def handle(self, **options: Any) -> None:
        """Lift the guards, empty every table, put guards and head back."""
        if not settings.TESTING:
            raise Refusal("flush is for tests only: the record is append-only and is never emptied.")
        guards.remove()
        try:
            super().handle(**options)
        finally:
            guards.after_migrate()
