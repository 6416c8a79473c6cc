"""Who may do what, as data: reads `rights.toml`. No Django; `access.py` alone acts on it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from types import MappingProxyType

from registry.terms import Role


class Reach(StrEnum):
    """What a route is about."""

    SELF = "self"
    SITE = "site"
    CASE = "case"


class Extent(StrEnum):
    """How far a right goes at a site."""

    OWN = "own"
    SITE = "site"
    REGISTRY = "registry"


@dataclass(frozen=True, slots=True)
class Right:
    """One route: what it does in words, what it is about, and how far each role goes."""

    route: str
    title: str
    reach: Reach
    extents: Mapping[Role, Extent]


@cache
def rights() -> Mapping[str, Right]:
    """Every right by the name of its route; KeyError and ValueError where the file says what nothing is."""
    found = {}
    raw = tomllib.loads(Path(__file__).with_name("rights.toml").read_text(encoding="utf-8"))
    for route, entry in raw.items():
        title, reach = entry.pop("title"), Reach(entry.pop("reach"))
        extents = {Role(role): Extent(extent) for role, extent in entry.items()}
        found[route] = Right(route, title, reach, MappingProxyType(extents))
    return MappingProxyType(found)
