"""The device models that a document names, with the catalogue's names; may not say anything else of a model."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from registry.models import DeviceModel
from registry.terms import UNKNOWN


def model_names(document: Any) -> dict[str, str]:
    """Names by code, of those models of a document, or of part of one, that have a name in the catalogue."""
    codes = {device["model"] for device in _devices(document)}
    if not codes:
        return {}
    rows = DeviceModel.objects.filter(code__in=codes).exclude(name="")
    return {code: name for code, name in rows.values_list("code", "name") if name}


def names_a_lot(document: Any) -> bool:
    """Whether a device of a document has both its model and its lot recorded."""
    return any(device.get("lot") not in (None, UNKNOWN) for device in _devices(document))


def _devices(value: object) -> Iterator[Mapping[str, Any]]:
    """Every device of a document that names its model."""
    if isinstance(value, dict):
        if isinstance(value.get("model"), str):
            yield value
        for inner in value.values():
            yield from _devices(inner)
    if isinstance(value, list):
        for item in value:
            yield from _devices(item)
