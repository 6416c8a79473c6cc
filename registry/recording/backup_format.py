"""What a backup holds and how a row is written in it: our own format, the same for either engine.

A gzip file of JSON lines: a heading; for each table its name and columns, then its rows by primary key, each an array;
a closing line with counts and the SHA-256 of all lines before it. Times are UTC to the microsecond, decimals text.
Data keys stand in it as they are stored, wrapped; the keys that open them never do, only their ids.
"""

from __future__ import annotations

import datetime
import json
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.apps import apps
from django.db import models

from registry.canonical import write
from registry.journal import moment

KIND = "registry backup"
FORMAT = 1

CARRIED: tuple[str, ...] = (
    "registry.Head",
    "registry.Site",
    "registry.Person",
    "registry.Membership",
    "registry.Invitation",
    "registry.Staff",
    "registry.MonthlyReturn",
    "registry.Maker",
    "registry.DeviceModel",
    "registry.DeviceUse",
    "registry.DataKey",
    "registry.Case",
    "registry.StaffRole",
    "registry.AccessRoute",
    "registry.GuideCatheter",
    "registry.Lesion",
    "registry.LesionContent",
    "registry.Complication",
    "registry.Action",
    "registry.DeclinedOption",
    "registry.InvolvedDevice",
    "registry.Fragment",
    "registry.Injury",
    "registry.Outcome",
    "registry.FlowReading",
    "registry.InHospitalEvent",
    "registry.Plan",
    "registry.PlanDrug",
    "registry.Duty",
    "registry.FollowUp",
    "registry.FollowUpEvent",
    "registry.Patient",
    "registry.Draft",
    "registry.ImportBatch",
    "registry.Version",
    "registry.JournalEntry",
    "registry.Look",
    "analytics.SignalWord",
    "analytics.Annotation",
    "analytics.QuarantinedLot",
    "casebook.DataRelease",
)
"""Every table that is carried, each after those that it refers to."""

NOT_CARRIED: Mapping[str, str] = {
    "analytics.Snapshot": "made anew from the record",
    "django_tasks_database.DBTaskResult": "work asked for in the background, which is asked for again",
    "contenttypes.ContentType": "made anew by migrate; the record refers to none",
    "auth.Permission": "made anew by migrate; rights come from memberships",
    "auth.Group": "not used: rights come from memberships",
    "auth.Group_permissions": "not used: rights come from memberships",
    "sessions.Session": "people sign in again after a restore",
    "account.EmailAddress": "made anew at sign-in from the person's address",
    "account.EmailConfirmation": "not used: accounts are taken up by invitation",
    "axes.AccessAttempt": "attempts to sign in, of this machine and its present",
    "axes.AccessAttemptExpiration": "attempts to sign in, of this machine and its present",
    "axes.AccessFailureLog": "attempts to sign in, of this machine and its present",
    "axes.AccessLog": "attempts to sign in, of this machine and its present",
}
"""Every other table, with the reason."""


@dataclass(frozen=True, slots=True)
class Heading:
    """The first line of a backup: of which registry, up to which entry, and which keys open it."""

    registry: str
    head: str
    made_at: str
    wrapping_keys: tuple[str, ...]
    chain_keys: tuple[str, ...]


def model_of(label: str) -> type[models.Model]:
    """The model of a carried table."""
    return apps.get_model(label)


def columns_of(model: type[models.Model]) -> list[str]:
    """The columns of a table, foreign keys by their own column."""
    return [field.attname for field in model._meta.concrete_fields]


def chain_key_of(text: str) -> str:
    """The id of the chain key that a journal entry was made with; empty where its text was changed past reading.

    A registry whose history is broken can still be backed up: `verify_history` says what is wrong with it.
    """
    try:
        return str(json.loads(text)["key"])
    except (ValueError, KeyError, TypeError):
        return ""


def encoded(value: Any) -> Any:
    """A value of a column as it stands in a backup."""
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, datetime.datetime):
        return moment(value)
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, (Decimal, uuid.UUID)):
        return str(value)
    if isinstance(value, list):
        return write(value)
    raise TypeError(f"a backup cannot hold {type(value).__name__}")


_AS_WRITTEN = (models.CharField, models.TextField, models.IntegerField, models.BooleanField)


def decoders(model: type[models.Model], connection: Any) -> list[Callable[[Any], Any]]:
    """For each column, what makes of a value in a backup the one that the database's driver takes."""

    def decoder(field: Any) -> Callable[[Any], Any]:
        kept = field.target_field if isinstance(field, models.ForeignKey) else field
        if isinstance(kept, _AS_WRITTEN):
            return _as_written
        return lambda value: field.get_db_prep_save(field.to_python(value), connection)

    return [decoder(field) for field in model._meta.concrete_fields]


def _as_written(value: Any) -> Any:
    return value
