"""People with an account, what each may be at which site, and the staff codes that cases name."""

from __future__ import annotations

from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.utils import timezone

from registry.models.columns import one_of
from registry.models.places import Site
from registry.public_codes import new_code
from registry.terms import Role


class People(BaseUserManager["Person"]):
    """Makes accounts; there is no account without an address."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> Person:
        """An account; without a password it waits for its invitation to be taken up."""
        person = self.model(email=self.normalise(email), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    @staticmethod
    def normalise(email: str) -> str:
        """The form in which an address is stored and looked up."""
        return email.strip().lower()

    def get_by_natural_key(self, email: str | None) -> Person:
        return self.get(email=self.normalise(email or ""))


class Person(AbstractBaseUser):
    """Somebody with an account. Accounts are deactivated, never deleted, so that the journal stays readable."""

    code = models.CharField(max_length=9, unique=True, default=new_code)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=200, blank=True)
    is_active = models.BooleanField(default=True)
    joined = models.DateTimeField(default=timezone.now)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects = People()

    def __str__(self) -> str:
        return self.name or self.email


class Membership(models.Model):
    """What a person is at a site; somebody may be several things at one site."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="memberships")
    site = models.ForeignKey(Site, models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=20)
    active = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "site", "role"], name="membership_once"),
            one_of("membership_role", "role", list(Role)),
        ]

    def __str__(self) -> str:
        return f"{self.person} {self.role} {self.site}"


class Invitation(models.Model):
    """A link by which a person takes up an account; only a digest of its secret is kept."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="invitations")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(default=timezone.now)
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"invitation of {self.person}"


class Staff(models.Model):
    """Who did something in a case, by the site's own code; made on first use, linked to an account if there is one."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="staff")
    code = models.CharField(max_length=64)
    person = models.ForeignKey(Person, models.SET_NULL, null=True, related_name="staff_codes")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "code"], name="staff_once")]

    def __str__(self) -> str:
        return self.code
