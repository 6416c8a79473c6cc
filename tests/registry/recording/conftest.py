"""The sites that the tests of the writers import into."""

from __future__ import annotations

import pytest

from registry.models import Site
from registry.recording.sites import add_site


@pytest.fixture
def north(db: None) -> Site:
    """A site with nothing recorded yet."""
    return add_site("north", "North", by=None)
