"""The only table with identifying fields: sealed with a key of the case, found by a keyed hash."""

from __future__ import annotations

import uuid

from django.db import models


class DataKey(models.Model):
    """A case's or draft's data key, wrapped by the registry's wrapping key of that name; deleted, it erases.

    `owner` is the public code of the case (a draft draws the code that its case will have).
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    owner = models.CharField(max_length=9)
    wrapping_key = models.CharField(max_length=64)
    wrapped = models.CharField(max_length=160)

    def __str__(self) -> str:
        return str(self.id)


class Patient(models.Model):
    """What identifies the patient of a case and all free text about it: one sealed blob, the same as in the version.

    `key` names the data key; both it and the blob are empty after erasure. `lookup` is an HMAC over the site and the
    normalised local reference, by which the case is found again without reading anything.
    """

    case = models.OneToOneField("registry.Case", models.CASCADE, related_name="+")
    key = models.UUIDField(null=True)
    sealed = models.TextField(null=True)
    lookup = models.CharField(max_length=64, null=True)

    class Meta:
        indexes = [models.Index(fields=["lookup"], name="patient_lookup")]

    def __str__(self) -> str:
        return f"patient of {self.case_id}"


class Draft(models.Model):
    """A case being written, of any completeness: everything typed is sealed.

    In the clear are only its version, layout, page, turn and once, by which two pages that edit it are told apart.
    """

    code = models.CharField(max_length=9, unique=True)
    site = models.ForeignKey("registry.Site", models.CASCADE, related_name="+")
    person = models.ForeignKey("registry.Person", models.CASCADE, related_name="+")
    case = models.ForeignKey("registry.Case", models.CASCADE, null=True, related_name="+")
    key = models.UUIDField(null=True)
    sealed = models.TextField(null=True)
    lookup = models.CharField(max_length=64, null=True)
    version = models.PositiveIntegerField(default=0)
    layout = models.PositiveIntegerField(default=0)
    page = models.CharField(max_length=32, blank=True)
    turn = models.PositiveIntegerField(default=0)
    once = models.CharField(max_length=32, blank=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        indexes = [models.Index(fields=["lookup"], name="draft_lookup")]

    def __str__(self) -> str:
        return self.code
