"""Somebody who reads: an account with one role at a site, signed in; and cases written in one go."""

from __future__ import annotations

import re
from typing import Any

from django.test import Client

from registry.models import Case, Person, Site
from registry.recording.cases import BY_COMMAND, set_state, submit_case
from registry.recording.sites import add_site, give_role
from registry.terms import CaseState, Role
from tests.builders import a_case

BACKEND = "allauth.account.auth_backends.AuthenticationBackend"
_DRAWN_ANEW = re.compile(r'name="csrfmiddlewaretoken" value="[^"]*"')


def a_site(code: str) -> Site:
    """A site by its code, made where there is none."""
    return Site.objects.filter(code=code).first() or add_site(code, code.title(), by=None)


def a_person(role: Role, site: str = "north") -> Person:
    """Somebody with one role at a site."""
    return give_role(f"{role}@{site}.example", a_site(site), role, name=f"The {role} of {site}", by=None)


def signed_in(role: Role, site: str = "north") -> Client:
    """The browser of somebody with one role at a site."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(a_person(role, site), backend=BACKEND)
    return client


def recorded_case(*complications: dict[str, Any], **more: Any) -> Case:
    """A case of the document that `a_case` makes, at a site that is made where there is none."""
    document = a_case(*complications, **more)
    a_site(document["site"])
    return submit_case(document, by=None)


def in_state(case: Case, state: CaseState) -> Case:
    """The case, moved on to another state."""
    return set_state(case, state, version=case.version, reason="as told", by=None, source=BY_COMMAND)


def body(response: Any) -> str:
    """The text of an answer, without what is drawn anew for each."""
    return _DRAWN_ANEW.sub("", response.content.decode())
