"""The site that the tests of the figures import into."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.analytics.builders import add_sites
from tests.analytics.page_reading import a_member


@pytest.fixture
def north(db: None) -> None:
    """A site with nothing recorded yet."""
    add_sites("north")


@pytest.fixture
def north_only(north: None) -> Client:
    """The browser of somebody at the one site, with nothing recorded yet."""
    return a_member("north")
