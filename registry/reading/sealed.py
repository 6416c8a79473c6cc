"""Names and notes of a case, for those who may read them; and which sealed fields two versions differ in.

Whoever is shown a text has been recorded as having looked first (`access.whole_document`). The comparison opens two
versions to see that a text differs, and gives no text away.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from registry import case_fields as fields
from registry.access import data_key, registry_id, whole_document
from registry.canonical import Json
from registry.documents.sealed_fields import joined
from registry.drawings.phrases import raised
from registry.models import Case, Person
from registry.reading.comparing import called, numbered
from registry.sealing import NotOpened, unseal
from registry.versions import VersionText


@dataclass(frozen=True, slots=True)
class SealedText:
    """One sealed text: of what it is, and what it says."""

    of: str
    text: str


def names_and_notes(person: Person, case: Case) -> list[SealedText]:
    """Every sealed text of a case, in the order of its document; the look is recorded before any is opened.

    NotOpened where the keys at hand do not open it.
    """
    return list(_texts(whole_document(person, case), fields.CASE, ""))


def _texts(thing: Mapping[str, Any], kind: fields.Thing, where: str) -> Iterator[SealedText]:
    for name, inner in kind.fields.items():
        value = thing.get(name)
        if value is None:
            continue
        if fields.sealed(inner):
            yield SealedText(raised(f"{where}, {called(name)}" if where else called(name)), value)
        elif isinstance(inner, fields.Thing):
            yield from _texts(value, inner, f"{where}, {called(name)}" if where else called(name))
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            many = len(value) > 1 or inner.item is fields.ACTION
            for place, item in enumerate(value):
                yield from _texts(item, inner.item, numbered(where, inner.item, place, many))


def whole_versions(
    case: Case, numbered: Mapping[int, VersionText]
) -> Mapping[int, Mapping[str, Json]] | None:
    """The whole documents of versions of a case, to be compared and not shown; None where they cannot be opened."""
    whole = {}
    try:
        for number, text in numbered.items():
            sealed = {} if text.sealed is None else unseal(
                text.sealed, data_key(text.key), registry_id(), case.code, number
            )  # fmt: skip
            whole[number] = joined(text.clear, sealed)
    except NotOpened:
        return None
    return whole
