"""Members of two sites and the pages as they see them, for tests of pages."""

from __future__ import annotations

from typing import Any

from django.test import Client

from registry.models import Person, Site
from registry.recording.sites import give_role
from registry.terms import Role

Response = Any
"""What Django's test client answers with; it has no name of its own."""

PASSWORD = "a-long-password-of-tests"


def a_member(site: Site, role: Role, name: str = "one") -> Person:
    """Somebody with one role at a site; the account has no password yet."""
    return give_role(f"{name}.{role}@{site.code}.example", site, role, name=f"{name} {role}", by=None)


def with_password(person: Person, password: str = PASSWORD) -> Person:
    """The same, able to sign in by a form."""
    person.set_password(password)
    person.save(update_fields=["password"])
    return person


def pages_of(person: Person | None = None) -> Client:
    """A browser in which somebody is signed in, or nobody."""
    client = Client(SERVER_NAME="localhost")
    if person is not None:
        client.force_login(person, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def words_of(response: Response) -> str:
    """The text of an answer."""
    return response.content.decode()
