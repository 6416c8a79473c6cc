"""The case document: its checks, its schema, and the codec between documents and rows; one for import, API,
versions and backup.

Imports run one way: visiting < shape < schema, dates, rules < sealed_fields < tables < rows, row_reading.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping

from registry.canonical import Json, canonical
from registry.case_fields import SCHEMA_VERSION, VERSION_FIELDS
from registry.documents.rules import rules
from registry.documents.shape import shape
from registry.findings import Finding
from registry.vocabulary import VERSION


def findings(document: Json, today: datetime.date) -> list[Finding]:
    """Everything that is wrong with a document, or to be asked about; `today` is the site's own.

    The joint rules are looked at only where the shape is right.
    """
    wrong = list(shape(document))
    return wrong or list(rules(document, today))


def completed(document: Mapping[str, Json]) -> dict[str, Json]:
    """The canonical form of a document that has passed the checks, its two version fields filled."""
    return canonical({"schema_version": SCHEMA_VERSION, "vocabulary_version": VERSION} | _present(document))


def _present(document: Mapping[str, Json]) -> dict[str, Json]:
    return {key: value for key, value in document.items() if value is not None}


def content(document: Mapping[str, Json]) -> dict[str, Json]:
    """What counts when two canonical documents are compared: all but the two version fields."""
    return {key: value for key, value in document.items() if key not in VERSION_FIELDS}
