"""Who is signed in within the browser, and what its console says."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import ConsoleMessage, Page

from registry.models import Person, Site
from registry.recording.sites import add_site, give_role
from registry.terms import Role

SIGNED_IN_BY = "allauth.account.auth_backends.AuthenticationBackend"


def signed_in(page: Page, live_server: Any, person: Person) -> None:
    """Sign a person in within the browser."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend=SIGNED_IN_BY)
    cookie = client.cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": cookie.value, "url": live_server.url}])


@pytest.fixture
def site(live_server: Any) -> Site:
    """A site."""
    return add_site("north", "North Moor", by=None)


@pytest.fixture
def operator(live_server: Any, page: Page, site: Site) -> Person:
    """An operator of one site, signed in within the browser."""
    person = give_role("operator@example.org", site, Role.OPERATOR, by=None)
    signed_in(page, live_server, person)
    return person


@pytest.fixture
def colleague(site: Site) -> Person:
    """Another operator of that site."""
    return give_role("colleague@example.org", site, Role.OPERATOR, by=None)


@pytest.fixture
def console(page: Page) -> list[str]:
    """What the browser's console said."""
    said: list[str] = []

    def heard(message: ConsoleMessage) -> None:
        said.append(message.text)

    page.on("console", heard)
    page.on("pageerror", lambda error: said.append(str(error)))
    return said
