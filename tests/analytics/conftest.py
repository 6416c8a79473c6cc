"""The site that the tests of the figures import into."""

from __future__ import annotations

import pytest

from tests.analytics.builders import add_sites


@pytest.fixture
def north(db: None) -> None:
    """A site with nothing recorded yet."""
    add_sites("north")
