"""A case's versions: whole documents, in the clear what may be, sealed what must be.

A version's text is canonical JSON of three members: `clear` (the document without its sealed texts), `sealed` (these,
as one blob bound to registry, case and version) and `key` (the data key's id). After erasure both are null.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from registry.canonical import Json, read, write
from registry.models import Version


@dataclass(frozen=True)
class VersionText:
    """The three members of a version's text; `str` is the text itself."""

    clear: Mapping[str, Json]
    sealed: str | None
    key: uuid.UUID | None

    @cached_property
    def _text(self) -> str:
        key = None if self.key is None else str(self.key)
        return write({"clear": self.clear, "sealed": self.sealed, "key": key})

    def __str__(self) -> str:
        return self._text


def version_text(text: str) -> VersionText:
    """The members of a stored text."""
    members = read(text)
    key = members["key"]
    return VersionText(members["clear"], members["sealed"], None if key is None else uuid.UUID(key))


def last_version(case: int) -> Version:
    """The last version of a case by its primary key."""
    return Version.objects.filter(case_id=case).latest("number")
