"""A prepared change of a case as text and back, for the spool between checking and writing."""

from __future__ import annotations

import uuid
from dataclasses import replace

from registry.canonical import read, write
from registry.recording.writing import Prepared
from registry.sealing import Wrapped
from registry.versions import version_text


def packed(one: Prepared) -> str:
    """All of a prepared change as canonical JSON; its batch is given when it is unpacked."""
    key = one.new_key
    return write(
        {
            "what": one.what,
            "site": one.site,
            "site_code": one.site_code,
            "document_id": one.document_id,
            "code": one.code,
            "case": one.case,
            "version": one.version,
            "state": str(one.state),
            "text": str(one.text),
            "lookup": one.lookup,
            "new_key": None if key is None else [str(key.id), key.owner, key.wrapping_key, key.wrapped],
            "particulars": dict(one.particulars or {}),
        }
    )


def unpacked(text: str, batch: int) -> Prepared:
    """The prepared change of a packed text, as part of an import's batch."""
    values = read(text)
    key = values.pop("new_key")
    one = Prepared(
        **{**values, "text": version_text(values["text"])},
        new_key=None if key is None else Wrapped(uuid.UUID(key[0]), *key[1:]),
    )
    return replace(one, batch=batch)
