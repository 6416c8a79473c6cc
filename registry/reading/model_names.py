"""The catalogue's names of the device models that a document names; may not say anything else of a model."""

from __future__ import annotations

from typing import Any

from registry.models import DeviceModel


def model_names(document: Any) -> dict[str, str]:
    """Names by code, of those models of a document, or of part of one, that have a name in the catalogue."""
    codes = _models(document)
    if not codes:
        return {}
    rows = DeviceModel.objects.filter(code__in=codes).exclude(name="")
    return {code: name for code, name in rows.values_list("code", "name") if name}


def _models(value: object) -> set[str]:
    """Every device model that a document names."""
    if isinstance(value, dict):
        own = {value["model"]} if isinstance(value.get("model"), str) else set()
        return own.union(*(_models(inner) for inner in value.values()))
    if isinstance(value, list):
        return set().union(*(_models(item) for item in value)) if value else set()
    return set()
