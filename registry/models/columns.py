"""Columns that the record's tables are made of, one for each kind of field of the case document.

A coded column holds the code, `unknown` included; a numeric, staff or model column is empty where the value is
`unknown`, and the row's `unknown` list names it. A list column is empty where the list is not recorded, and
`[]` where it is recorded as none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db import models

from registry import case_fields as fields
from registry.canonical import Json, read, write


class ListField(models.TextField):
    """A list of words, numbers or dates, kept as canonical JSON text so that numbers stay exact on every engine."""

    def from_db_value(self, value: str | None, expression: Any, connection: Any) -> list[Json] | None:
        if value == "[]":
            return []
        return None if value is None else read(value)

    def to_python(self, value: Any) -> list[Json] | None:
        return read(value) if isinstance(value, str) else value

    def get_prep_value(self, value: Any) -> str | None:
        return None if value is None else write(value) if value else "[]"


def code() -> models.CharField:
    """A code of a word list."""
    return models.CharField(max_length=64, null=True)


def name(length: int = fields.NAME) -> models.CharField:
    """A short plain text."""
    return models.CharField(max_length=length, null=True)


def number() -> models.DecimalField:
    """A number of at most nine digits and three decimals."""
    return models.DecimalField(max_digits=12, decimal_places=3, null=True)


def whole() -> models.IntegerField:
    """A whole number."""
    return models.IntegerField(null=True)


def position() -> models.PositiveSmallIntegerField:
    """A position among the actions, from 0."""
    return models.PositiveSmallIntegerField(null=True)


def day() -> models.DateField:
    """One end of a partly known date: the earliest or the latest day that it may mean."""
    return models.DateField(null=True)


def listing() -> ListField:
    """A list of words, numbers or dates."""
    return ListField(null=True)


def staff() -> models.ForeignKey:
    """Who of the site's staff did it."""
    return models.ForeignKey("registry.Staff", models.PROTECT, null=True, related_name="+")


def device_model() -> models.ForeignKey:
    """The model of a device, from the catalogue or queued for it."""
    return models.ForeignKey("registry.DeviceModel", models.PROTECT, null=True, related_name="+")


class Row(models.Model):
    """What each row of the record keeps about itself: its fields that are `unknown`, its lists recorded as empty."""

    unknown = ListField(default=list)
    empty = ListField(default=list)

    class Meta:
        abstract = True


class CaseRow(Row):
    """A row that belongs to one case, at its place in the list of its document."""

    case = models.ForeignKey("registry.Case", models.CASCADE, related_name="+")
    index = models.PositiveSmallIntegerField()

    class Meta:
        abstract = True


class Placed(models.Model):
    """Where something lies: every segment and every place beyond the segments."""

    segments = listing()
    places = listing()

    class Meta:
        abstract = True


class WithDevice(models.Model):
    """A device that a row is about; its serial number and its whole UDI are sealed, its `gtin` names the model."""

    device_model = device_model()
    device_class = code()
    device_wire_class = code()
    device_diameter_mm = number()
    device_length_mm = number()
    device_size_f = number()
    device_lot = name()
    device_gtin = name(14)

    class Meta:
        abstract = True


def hard_limits(table: str, columns: Mapping[str, fields.Limits]) -> list[models.BaseConstraint]:
    """A check for each numeric column of a table."""
    return [
        models.CheckConstraint(
            name=f"{table}_{column}_possible"[:60],
            condition=models.Q(**{f"{column}__isnull": True})
            | models.Q(**{f"{column}__gte": Decimal(str(low)), f"{column}__lte": Decimal(str(high))}),
        )
        for column, (low, high) in columns.items()
    ]


def limits_of(thing: fields.Thing, prefix: str = "") -> dict[str, fields.Limits]:
    """The hard limits of the numeric columns that a thing and the things inside it fill, by column name."""
    found: dict[str, fields.Limits] = {}
    for field, kind in thing.fields.items():
        column = f"{prefix}_{field}" if prefix else field
        if isinstance(kind, fields.Number):
            found[column] = kind.hard
        elif isinstance(kind, fields.Thing):
            found.update(limits_of(kind, column))
    return found


def one_of(name: str, column: str, allowed: Sequence[str], null: bool = False) -> models.CheckConstraint:
    """A check that a column holds one of the codes that the program branches on."""
    condition = models.Q(**{f"{column}__in": list(allowed)})
    if null:
        condition |= models.Q(**{f"{column}__isnull": True})
    return models.CheckConstraint(name=name, condition=condition)
