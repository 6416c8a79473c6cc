"""Duties: what is owed after the event."""

from __future__ import annotations

from django.db import models

from registry.models import columns
from registry.models.columns import CaseRow


class Duty(CaseRow):
    """Something owed after the event, with an owner and a due date."""

    kind = columns.code()
    owner = columns.staff()
    aware_earliest = columns.day()
    aware_latest = columns.day()
    due_earliest = columns.day()
    due_latest = columns.day()
    done_earliest = columns.day()
    done_latest = columns.day()
    decided = columns.code()

    class Meta:
        indexes = [
            # What home asks: those not done, by the day on which they are due.
            models.Index(
                fields=["due_latest"], name="duty_open_by_due", condition=models.Q(done_earliest__isnull=True)
            )
        ]
