"""Rows of small tables on their way into the record: what is wrong with them, and whether they are still asked for."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from registry.access import sites_for
from registry.models import Person, Site
from registry.recording.change import NotSaved
from registry.recording.imports import ImportRefused

Lines = Sequence[tuple[int, Mapping[str, str]]]
"""The rows of a file with the number of the line on which each stands."""


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that is wrong in a row: where, what, and what is allowed."""

    line: int
    field: str
    value: str
    says: str
    allowed: str

    def __str__(self) -> str:
        return f"line {self.line}: field {self.field}, value {self.value!r}: {self.says}; allowed: {self.allowed}"


class RowsRefused(ImportRefused):
    """Rows were refused whole; `wrongs` says so by line and field."""

    def __init__(self, wrongs: list[Wrong]) -> None:
        self.wrongs = wrongs
        super().__init__([str(wrong) for wrong in wrongs])


class MovedOn(NotSaved):
    """Somebody else has changed the same thing since the page was opened."""

    def __init__(self) -> None:
        super().__init__("somebody else has changed this since the page was opened; nothing was saved")


@dataclass(slots=True)
class Reading:
    """What is wrong, gathered while rows are read."""

    wrongs: list[Wrong]

    def wrong(self, line: int, field: str, value: str, says: str, allowed: str) -> None:
        """Note one."""
        self.wrongs.append(Wrong(line, field, value, says, allowed))

    def refuse(self) -> None:
        """RowsRefused where there is any."""
        if self.wrongs:
            raise RowsRefused(self.wrongs)


def sites_of(by: Person | None, route: str) -> dict[str, Site]:
    """The sites that somebody may write about on a route, by code; all for the command line."""
    sites = Site.objects.all() if by is None else sites_for(by, route)
    return {site.code: site for site in sites}


def short(values: object) -> str:
    """A short text that changes whenever the values do."""
    return hashlib.sha256(repr(values).encode()).hexdigest()[:16]
