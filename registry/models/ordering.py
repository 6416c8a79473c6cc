"""Order by code point, the same on every engine."""

from __future__ import annotations

from django.db import connection
from django.db.models.functions import Collate


def code_point(column: str) -> Collate:
    """A text column ordered by the code points of its letters; UTF-8 bytes come in the same order."""
    return Collate(column, "C" if connection.vendor == "postgresql" else "BINARY")
