"""Reading JSON without a float, and the one canonical form of a document."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given

from registry.canonical import NotReadable, canonical, read, shown, unwritable, write
from registry.documents import completed
from tests.strategies import case_documents, json_values


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1),
        ("1.0", 1),
        ("3.50", Decimal("3.5")),
        ("0.001", Decimal("0.001")),
        ("999999999.999", Decimal("999999999.999")),
        ("-5", -5),
        ("0", 0),
        ("0.0", 0),
    ],
)
def test_numbers_are_kept_exactly_and_never_as_floats(text: str, value: int | Decimal) -> None:
    found = read(text)
    assert found == value
    assert type(found) is type(value)
    assert write(found) == str(value)


@pytest.mark.parametrize(
    "text",
    [
        "1e3",
        "1E3",
        "1.5e1",
        "1234567890",
        "0.0001",
        "1" + "0" * 400,
        "NaN",
        "Infinity",
        "-Infinity",
        "-0",
        "-0.0",
    ],
)
def test_numbers_in_another_form_are_refused_by_what_they_are(text: str) -> None:
    with pytest.raises(NotReadable, match="number"):
        read(text)


@pytest.mark.parametrize("text", ["01", "+1", ".5", "1.", "{", "[1,]", "{'a':1}", "", "[1] 2", '"\n"', "tru"])
def test_what_is_not_json_is_refused_with_its_place(text: str) -> None:
    with pytest.raises(NotReadable, match=r"not JSON: .* at line 1, column"):
        read(text)


def test_the_place_of_an_error_is_its_line_and_column() -> None:
    with pytest.raises(NotReadable, match="line 3, column 3"):
        read('{\n"a": 1,\n  x}')


@pytest.mark.parametrize("text", ['{"a":1,"a":1}', '{"x":{"a":null,"b":2,"a":3}}', '[{"a":1,"\\u0061":2}]'])
def test_a_doubled_key_is_refused_by_name(text: str) -> None:
    with pytest.raises(NotReadable, match='the key "a" stands twice'):
        read(text)


def test_bytes_are_read_as_utf_8_with_or_without_its_mark() -> None:
    assert read('["é"]'.encode()) == read('["é"]'.encode("utf-8-sig")) == ["é"]
    with pytest.raises(NotReadable, match="not UTF-8 text: byte 3 cannot be read"):
        read('["é"]'.encode("latin-1"))


def test_nesting_beyond_reason_is_refused_and_not_a_crash() -> None:
    with pytest.raises(NotReadable, match="12 levels"):
        read("[" * 100_000 + "]" * 100_000)


def test_keys_are_written_by_code_point_without_spaces() -> None:
    assert write(
        {"b": [1, True, None], "a": {"é": "é", "z": Decimal("2.5")}, "B": {}, "😀": 1, "\uffee": 2}
    ) == ('{"B":{},"a":{"z":2.5,"é":"é"},"b":[1,true,null],"\uffee":2,"😀":1}')


def test_text_is_written_as_given_and_never_normalised() -> None:
    decomposed, composed = "e\u0301", "é"
    assert read(write([decomposed, composed, "\u2028"])) == [decomposed, composed, "\u2028"]
    assert write([decomposed]) != write([composed])


def test_small_and_large_decimals_are_written_without_an_exponent() -> None:
    assert write([Decimal("0.001"), Decimal("1E+3"), read("100000000.5")]) == "[0.001,1000,100000000.5]"


@given(json_values())
def test_writing_and_reading_gives_the_same_value(value: Any) -> None:
    assert read(write(value)) == value


@given(json_values())
def test_other_programs_read_what_is_written(value: Any) -> None:
    assert json.loads(write(value), parse_float=Decimal) == value


def test_the_canonical_form_has_no_nulls_and_no_empty_objects() -> None:
    document: dict[str, Any] = {
        "a": None,
        "patient": {"age": None, "risk": {}},
        "lesions": [],
        "outcome": {"flow": None},
        "id": "",
    }
    assert canonical(document) == {"lesions": [], "id": ""}


def test_empty_objects_in_lists_keep_their_place() -> None:
    assert canonical({"lesions": [{"ref": None}, {"graft": {}}, {"ref": "L2"}]}) == {
        "lesions": [{}, {}, {"ref": "L2"}]
    }


@pytest.mark.parametrize("name", ["death", "surgery"])
def test_an_empty_death_or_surgery_is_not_dropped_without_a_word(name: str) -> None:
    assert canonical({"outcome": {name: {"day": None}}}) == {"outcome": {name: {}}}


def test_actions_stand_by_position_and_other_lists_in_their_order() -> None:
    document = {
        "actions": [{"position": 2}, {"position": 1}],
        "declined": [{"reason": "time"}, {"reason": "other"}],
    }
    assert canonical(document) == {
        "actions": [{"position": 1}, {"position": 2}],
        "declined": [{"reason": "time"}, {"reason": "other"}],
    }


def test_the_document_given_is_left_alone() -> None:
    document = {"patient": {}, "actions": [{"position": 2}, {"position": 1}]}
    canonical(document)
    assert document == {"patient": {}, "actions": [{"position": 2}, {"position": 1}]}


@given(case_documents())
def test_the_canonical_form_of_a_document_is_stable(document: dict[str, Any]) -> None:
    once = canonical(document)
    assert canonical(once) == once
    text = write(once)
    assert canonical(read(text)) == once
    assert write(canonical(read(text))) == text


@given(case_documents())
def test_a_completed_document_has_its_versions_and_stays_complete(document: dict[str, Any]) -> None:
    complete = completed(document)
    assert complete["schema_version"] == 1
    assert complete["vocabulary_version"]
    assert completed(complete) == complete


def test_half_characters_and_nul_cannot_be_written() -> None:
    assert unwritable(read('"\\ud800"'))
    assert unwritable("a\x00")
    assert not unwritable("😀 é\n\t")


def test_a_value_is_shown_as_it_would_be_typed_and_cut() -> None:
    assert shown(Decimal("3.5")) == "3.5"
    assert shown("3.5") == '"3.5"'
    assert shown({"b": None, "a": [True]}) == '{"a":[true],"b":null}'
    assert shown("x" * 100) == '"' + "x" * 58 + "…"


def test_a_value_nested_too_deep_to_be_written_is_still_spoken_of() -> None:
    value: Any = []
    for _ in range(5_000):
        value = [value]
    assert shown(value) == "nested too deep to be shown"
