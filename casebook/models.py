"""Data releases: the receipt of each, which stays inside."""

from __future__ import annotations

from django.db import models

from registry.public_codes import new_code


class DataRelease(models.Model):
    """What left, when, by whom, under which rule, and the hash by which it is known again.

    `sites` are codes with spaces between, `who` is a person's public code. Sealed with a data key of its own: what the
    release was made for, and the key of its pseudonyms, with which a case of it can be found again. `head` is the
    journal's head before the entry of this release, as `number:mac`.
    """

    code = models.CharField(max_length=9, unique=True, default=new_code)
    made_at = models.DateTimeField()
    who = models.CharField(max_length=9)
    sites = models.TextField()
    since = models.DateField()
    until = models.DateField()
    policy = models.CharField(max_length=8)
    smallest_class = models.PositiveSmallIntegerField()
    """k as it was wanted."""
    smallest_class_reached = models.PositiveIntegerField()
    considered = models.PositiveIntegerField()
    released = models.PositiveIntegerField()
    suppressed = models.PositiveIntegerField()
    manifest = models.CharField(max_length=64)
    """SHA-256 of the manifest, which holds those of all files."""
    head = models.CharField(max_length=90)
    key = models.UUIDField()
    sealed = models.TextField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="release_counts_add_up",
                condition=models.Q(considered=models.F("released") + models.F("suppressed")),
            ),
            models.CheckConstraint(
                name="release_meets_its_rule",
                condition=models.Q(smallest_class_reached__gte=models.F("smallest_class")),
            ),
        ]

    def __str__(self) -> str:
        return self.code
