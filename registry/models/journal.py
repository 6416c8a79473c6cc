"""The journal, which is the chain; its head; and who looked at identifying fields. Append-only."""

from __future__ import annotations

import uuid

from django.db import models


class JournalEntry(models.Model):
    """One event. `id` is the sequence number, given under the head's lock, without gaps.

    `text` is canonical JSON of codes only; `mac` chains it to the entry before (`registry.journal`).
    """

    id = models.PositiveBigIntegerField(primary_key=True)
    at = models.DateTimeField()
    what = models.CharField(max_length=40)
    case = models.ForeignKey("registry.Case", models.PROTECT, null=True, related_name="journal")
    text = models.TextField()
    mac = models.CharField(max_length=64)

    class Meta:
        indexes = [models.Index(fields=["what", "at"], name="journal_what")]

    def __str__(self) -> str:
        return f"{self.pk} {self.what}"


class Head(models.Model):
    """The end of the chain: one row, which moves only forward, with the registry's own id."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    registry = models.UUIDField(default=uuid.uuid4)
    number = models.PositiveBigIntegerField(default=0)
    mac = models.CharField(max_length=64, default="")
    seal = models.PositiveBigIntegerField(default=0)
    """The number of the last look that an entry has sealed."""

    class Meta:
        constraints = [models.CheckConstraint(name="head_is_one_row", condition=models.Q(id=1))]

    def __str__(self) -> str:
        return f"{self.number}:{self.mac}"


class Look(models.Model):
    """Somebody was shown identifying fields; written before they are shown, sealed by the next journal entry."""

    at = models.DateTimeField()
    who = models.CharField(max_length=40)
    case = models.CharField(max_length=9)
    what = models.CharField(max_length=40)

    def __str__(self) -> str:
        return f"{self.who} looked at {self.case}"
