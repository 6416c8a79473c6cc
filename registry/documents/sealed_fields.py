"""Parting a document into what is stored in the clear and what is sealed, by JSON pointer (RFC 6901), and joining them.

Sealed are the local reference, serial numbers, UDIs and all free text. In the clear, a device with a UDI carries its
`gtin`, which names the model and no single device; it is dropped again when the parts are joined.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry import case_fields as fields
from registry.canonical import KEPT_WHEN_EMPTY, Json
from registry.device_identifiers import gtin_of
from registry.documents.rules import others

Document = dict[str, Json]
ERASED = "erased"
REASON = "reason"
"""Under this name, which is no JSON pointer, the typed reason of a change is sealed with the version."""


def parted(document: Mapping[str, Json]) -> tuple[Document, dict[str, str]]:
    """The clear document and the sealed texts of a canonical document; the input is left alone."""
    sealed: dict[str, str] = {}
    return _clear(document, fields.CASE, "", sealed), sealed


def _clear(thing: Mapping[str, Json], kind: fields.Thing, pointer: str, sealed: dict[str, str]) -> Document:
    clear: Document = {}
    for name, value in thing.items():
        inner = kind.fields[name]
        here = f"{pointer}/{name}"
        if fields.sealed(inner):
            sealed[here] = value
            if name == "udi" and (gtin := gtin_of(value)):
                clear["gtin"] = gtin
        elif isinstance(inner, fields.Thing):
            kept = _clear(value, inner, here, sealed)
            if kept or name in KEPT_WHEN_EMPTY:
                clear[name] = kept
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            item = inner.item
            clear[name] = [_clear(one, item, f"{here}/{number}", sealed) for number, one in enumerate(value)]
        else:
            clear[name] = value
    return clear


def joined(clear: Mapping[str, Json], sealed: Mapping[str, str]) -> Document:
    """The document of a clear part and its sealed texts; a reason sealed beside them is not part of it."""
    document = _without_gtin(clear)
    for pointer, text in sealed.items():
        if pointer == REASON:
            continue
        *way, name = pointer.removeprefix("/").split("/")
        holder: Any = document
        for step in way:
            holder = holder[int(step)] if isinstance(holder, list) else holder.setdefault(step, {})
        holder[name] = text
    return document


def _without_gtin(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_gtin(inner) for key, inner in value.items() if key != "gtin"}
    if isinstance(value, list):
        return [_without_gtin(item) for item in value]
    return value


def after_erasure(clear: Mapping[str, Json]) -> Document:
    """The document of a case whose sealed texts are erased, with `erased` where a rule demands a note."""
    return _with_notes(_without_gtin(clear), fields.CASE)


def _with_notes(thing: Document, kind: fields.Thing) -> Document:
    for name, value in thing.items():
        inner = kind.fields[name]
        if isinstance(inner, fields.Thing):
            _with_notes(value, inner)
            if not value:
                value["note"] = ERASED
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            for item in value:
                _with_notes(item, inner.item)
    if named := others(kind, thing):
        thing["note"] = f"{', '.join(named)}: {ERASED}" if kind is fields.COMPLICATION else ERASED
    return thing
