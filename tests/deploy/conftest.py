"""The world in which the tests of the frame call every route."""

from __future__ import annotations

import pytest

from tests.routes import World, a_world


@pytest.fixture
def world(db: None) -> World:
    """Two sites, a person of each role at each, and a case at each."""
    return a_world()
