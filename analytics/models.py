"""What people add to the figures: words on signals, annotations, lots set aside; and figures kept ready.

What is typed is sealed with a data key of its own, like free text everywhere. Rows are added and never changed, but for
the end of a lot's quarantine or of an annotation.
"""

from __future__ import annotations

from django.db import models

from registry.models import DeviceModel, Person, Site
from registry.models.columns import one_of
from registry.public_codes import new_code
from registry.terms import SignalState


class Said(models.Model):
    """Words of a person at a moment, sealed; `code` is what they are bound to."""

    code = models.CharField(max_length=9, unique=True, default=new_code)
    by = models.ForeignKey(Person, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    key = models.UUIDField()
    sealed = models.TextField()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.code


class SignalWord(Said):
    """One entry in the history of a signal: `rule` and `subject` name it, `crossed` the day of the crossing meant."""

    rule = models.CharField(max_length=32)
    subject = models.CharField(max_length=420)
    crossed = models.DateField()
    state = models.CharField(max_length=16)

    class Meta:
        constraints = [one_of("signal_word_state", "state", list(SignalState))]
        indexes = [models.Index(fields=["rule", "subject"], name="signal_word_by_signal")]


class Annotation(Said):
    """A mark on the charts of a site from a day on: new stock, a new lot, training; of one model or of all."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    device_model = models.ForeignKey(DeviceModel, models.PROTECT, null=True, related_name="+")
    day = models.DateField()
    ended_at = models.DateTimeField(null=True)
    """When it was taken off the charts; it stays in the history."""


class QuarantinedLot(Said):
    """A lot that a site set aside, with its reason and the shelves to look on (both sealed), until it is released."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="+")
    device_model = models.ForeignKey(DeviceModel, models.PROTECT, related_name="+")
    lot = models.CharField(max_length=200)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(Person, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "device_model", "lot"],
                condition=models.Q(ended_at__isnull=True),
                name="lot_set_aside_once",
            )
        ]


class Snapshot(models.Model):
    """Figures of a whole-registry question, made in the background: as of the journal's entry `number`.

    `asked_at` is of one row, which stands for all: when new ones were asked for, empty once they are begun.
    """

    name = models.CharField(max_length=100, unique=True)
    number = models.BigIntegerField()
    as_of = models.DateTimeField()
    content = models.TextField()
    asked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name
