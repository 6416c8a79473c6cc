"""The published JSON Schema: the file is the one made from the table of fields, and it says what `shape` says.

After a change of fields or words the file is written anew by

    python -c "from registry.documents.schema import PUBLISHED, schema_text; PUBLISHED.write_text(schema_text())"
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import example, given
from jsonschema import Draft202012Validator

from registry import case_fields as fields
from registry.documents.schema import PUBLISHED, case_schema, schema_text
from registry.documents.shape import shape
from registry.vocabulary import word_list
from tests.builders import Document, a_case, a_ladder, changed
from tests.strategies import case_documents, json_values, mutations

SCHEMA = json.loads(schema_text(), parse_float=Decimal)
VALIDATOR = Draft202012Validator(SCHEMA)
LEFT_TO_THE_READER = ("there is no day", "newer than this registry's", "a year from")


def test_the_published_file_is_the_schema_of_this_registry() -> None:
    assert PUBLISHED.read_text(encoding="utf-8") == schema_text()


def test_it_is_a_valid_schema_of_draft_2020_12() -> None:
    Draft202012Validator.check_schema(json.loads(schema_text()))
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_it_holds_nothing_but_json_values() -> None:
    assert json.loads(json.dumps(case_schema())) == case_schema()


def _schema_at(path: str) -> Document:
    """The schema of a property by its path as `walk` gives it."""
    found: Any = SCHEMA
    for name in path.split("."):
        found = _inside(found["properties"][name.removesuffix("[]")])
        if name.endswith("[]"):
            found = _inside(found["items"])
    return dict(found)


def _inside(schema: Document) -> Document:
    """A property's schema without the choice of null, its reference followed."""
    kept = schema["anyOf"][0] if {"type": "null"} in schema.get("anyOf", []) else schema
    return kept | SCHEMA["$defs"][kept["$ref"].rsplit("/", 1)[1]] if "$ref" in kept else kept


@pytest.mark.parametrize(("path", "kind"), fields.walk(), ids=[path for path, _ in fields.walk()])
def test_every_field_of_the_document_is_in_it(path: str, kind: fields.Field) -> None:
    found = _schema_at(path)
    if isinstance(kind, fields.Thing):
        assert found["additionalProperties"] is False
        assert set(found["properties"]) == set(kind.fields)
        assert found.get("required", []) == [name for name, inner in kind.fields.items() if inner.required]
    elif isinstance(kind, fields.List):
        assert found.get("maxItems") == kind.limit
    elif isinstance(kind, fields.Code):
        words = word_list(kind.list)
        assert found["enum"] == [code for code, term in words.terms.items() if not term.retired]
        assert (found["title"], found["description"]) == (words.title, words.about)


@given(case_documents())
def test_a_document_that_passes_the_checks_fits_the_schema(document: Document) -> None:
    VALIDATOR.validate(document)


@given(mutations(case_documents()))
@example(changed(a_case(), "procedure.date", "2026-02-30"))
@example(changed(a_case(), "complications", []))
@example(changed(a_case(), "complications[0].device", None))
@example(changed(a_case(), "complications[0].situation", "closed"))
@example(changed(a_case(), "lesions", [{"medina": "0,0,0"}]))
@example(changed(a_case(), "lesions", [None]))
@example(changed(a_case(), "patient", {"age": True}))
@example(changed(a_case(), "patient", {"age": Decimal("70.5")}))
@example(changed(a_case(), "patient", {"age": "71"}))
@example(changed(a_case(), "id", "\x00"))
@example(changed(a_case(), "id", " \u00a0"))
def test_the_schema_refuses_what_the_shape_refuses_and_nothing_else(document: Any) -> None:
    wrong = [
        finding for finding in shape(document) if not any(said in finding.says for said in LEFT_TO_THE_READER)
    ]
    assert VALIDATOR.is_valid(document) == (not wrong), [str(finding) for finding in wrong]


@given(json_values())
def test_what_is_no_case_at_all_is_refused_by_both(value: Any) -> None:
    assert not VALIDATOR.is_valid(value)
    assert list(shape(value))


@pytest.mark.parametrize(
    ("number", "fits"), [("0.97", True), ("3", True), ("-0.5", False), ("100.001", False)]
)
def test_limits_hold_exactly(number: str, fits: bool) -> None:
    document = a_case(a_ladder("wire_stuck:", device={"class": "unknown", "diameter_mm": Decimal(number)}))
    assert VALIDATOR.is_valid(document) is fits
