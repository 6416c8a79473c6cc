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


@pytest.fixture
def operator(live_server: Any, page: Page) -> Person:
    """An operator of one site, signed in within the browser."""
    site: Site = add_site("north", "North Moor", by=None)
    person = give_role("operator@example.org", site, Role.OPERATOR, by=None)
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend=SIGNED_IN_BY)
    cookie = client.cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": cookie.value, "url": live_server.url}])
    return person


@pytest.fixture
def console(page: Page) -> list[str]:
    """What the browser's console said."""
    said: list[str] = []

    def heard(message: ConsoleMessage) -> None:
        said.append(message.text)

    page.on("console", heard)
    page.on("pageerror", lambda error: said.append(str(error)))
    return said
