"""Sites, and a site's word for a month."""

from __future__ import annotations

from django.db import models

from registry.models.columns import one_of
from registry.terms import Reporting


class Site(models.Model):
    """A catheter laboratory that keeps its own record."""

    code = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200)
    time_zone = models.CharField(max_length=64, default="UTC")
    smallest_class = models.PositiveSmallIntegerField(default=5)
    """k of the disclosure rule: no data release shows a class of fewer cases."""

    class Meta:
        constraints = [
            models.CheckConstraint(name="site_smallest_class", condition=models.Q(smallest_class__gte=2)),
        ]

    def __str__(self) -> str:
        return self.name


class MonthlyReturn(models.Model):
    """Procedures done in a month, and whether all complications of it are reported or none happened."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="returns")
    month = models.DateField()
    procedures = models.PositiveIntegerField(null=True)
    reporting = models.CharField(max_length=16)
    confirmed_by = models.ForeignKey("registry.Staff", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "month"], name="return_once_a_month"),
            models.CheckConstraint(name="return_first_of_month", condition=models.Q(month__day=1)),
            one_of("return_reporting", "reporting", list(Reporting)),
        ]

    def __str__(self) -> str:
        return f"{self.site_id} {self.month:%Y-%m}"
