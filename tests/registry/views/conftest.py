"""A site with a catalogue, another one, and an administrator's browser."""

from __future__ import annotations

import pytest
from django.test import Client

from registry.models import (
    Person,
    Site,
)
from registry.recording.devices import import_catalogue, import_device_use
from registry.recording.sites import add_site, give_role
from registry.terms import Role
from tests.members import a_member, pages_of


@pytest.fixture
def north(db: None) -> Site:
    """A site with two models in the catalogue, one of them used in a month."""
    site = add_site("north", "North", by=None)
    models = [("Orlo", "ORLO-1", "Orlo One", "guidewire"), ("Orlo", "ORLO/2 x", "Orlo Two", "guidewire")]
    columns = ("maker", "model", "name", "class")
    rows = [(line, dict(zip(columns, row, strict=True))) for line, row in enumerate(models, start=2)]
    import_catalogue(rows, check_only=False, by=None)
    used = {"site": "north", "device_model": "ORLO-1", "month": "2026-03", "uses": "40"}
    import_device_use([(2, used)], check_only=False, by=None)
    return site


@pytest.fixture
def south(db: None) -> Site:
    """Another site."""
    return add_site("south", "South", by=None)


@pytest.fixture
def administrator(north: Site) -> Person:
    """The administrator of the site north."""
    return a_member(north, Role.ADMINISTRATOR)


@pytest.fixture
def desk(administrator: Person) -> Client:
    """The administrator's browser."""
    return pages_of(administrator)


@pytest.fixture
def site(db: None) -> Site:
    """The site at which cases are logged."""
    return add_site("north", "North Moor", by=None)


@pytest.fixture
def operator(site: Site) -> Person:
    """Somebody who logs cases there."""
    return give_role("operator@example.org", site, Role.OPERATOR, by=None)
