"""Makers and device models, and how many of a model a site used in a month: the denominator."""

from __future__ import annotations

from django.db import models

from registry.models import columns
from registry.models.places import Site


class Maker(models.Model):
    """Who makes devices."""

    name = models.CharField(max_length=200, unique=True)

    def __str__(self) -> str:
        return self.name


class DeviceModel(models.Model):
    """A device model by its catalogue code, which is unique across makers.

    A model that a case names and the catalogue does not is accepted and queued: `queued` until the catalogue has it.
    `device_class` is the catalogue's, of a queued model that of its first case.
    """

    code = models.CharField(max_length=200, unique=True)
    name = models.CharField(max_length=200, blank=True)
    maker = models.ForeignKey(Maker, models.PROTECT, null=True, related_name="models")
    device_class = columns.code()
    queued = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name or self.code


class DeviceUse(models.Model):
    """Units of a model opened at a site in a month; a recorded 0 is a number, no row is not."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="device_uses")
    model = models.ForeignKey(DeviceModel, models.PROTECT, related_name="uses")
    month = models.DateField()
    uses = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["model", "month", "site"], name="device_use_once_a_month"),
            models.CheckConstraint(name="device_use_first_of_month", condition=models.Q(month__day=1)),
        ]
        indexes = [models.Index(fields=["site", "month", "model", "uses"], name="device_use_of_site")]

    def __str__(self) -> str:
        return f"{self.model_id} {self.month:%Y-%m}: {self.uses}"
