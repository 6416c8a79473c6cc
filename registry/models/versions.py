"""Whole documents of every version of a case, and the imports they came by; append-only."""

from __future__ import annotations

from django.db import models


class ImportBatch(models.Model):
    """One import of cases, by whose number it can be taken back."""

    made_at = models.DateTimeField()
    undone = models.BooleanField(default=False)

    def __str__(self) -> str:
        return f"batch {self.pk}"


class Version(models.Model):
    """The case after one change: canonical JSON of the clear document, the sealed fields and the key's id."""

    case = models.ForeignKey("registry.Case", models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    text = models.TextField()
    batch = models.ForeignKey(ImportBatch, models.PROTECT, null=True, related_name="versions")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["case", "number"], name="version_once")]

    def __str__(self) -> str:
        return f"{self.case_id} version {self.number}"
