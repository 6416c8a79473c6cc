"""Each value of a document by itself: what is refused says where, what was found and what is allowed."""

from __future__ import annotations

from decimal import Decimal
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry import vocabulary
from registry.canonical import shown
from registry.documents import findings
from registry.documents.shape import shape
from registry.vocabulary import Term, WordList, word_list, word_lists
from tests.builders import TODAY, Document, a_case, a_ladder, changed, refusals_of
from tests.strategies import case_documents, json_values, mutations

BASE = a_case(
    a_ladder("wire_stuck: steady_traction", harm={}),
    lesions=[{}],
    patient={"risk": {}},
    outcome={"death": {}, "surgery": {}},
    follow_up=[{}],
)
"""A document with an object at each place where a wrong value is put below."""

A_NAME = "a name, or leave it out"
A_DATE = "YYYY-MM-DD, YYYY-MM or YYYY"
YEARS = 'a whole number from 0 to 120 (years), or "unknown"'
DAYS = 'a whole number from 0 to 36500 (days from the procedure), or "unknown"'
A_MEDINA = 'three of 0 or 1 as text, such as "1,1,0"'
A_REF = "the ref of an object, or leave it out"
LATER, RUNG = "a whole number from 0 to 100, never unknown", "a whole number from 1 to 100, never unknown"
SPLIT = "text with a NUL or half a character (lone surrogate)"
MADE_NO_SENSE = "makes no sense here"
NEAREST = "nearest codes: wire_stuck, snare_stuck, filter_stuck"
URGENCIES = "codes of urgency: planned, urgent, emergency, during_resuscitation, other, unknown"

FIRST = "complications[0]"
WRONG: list[tuple[str, Any, str, str]] = [
    ("procedure", [], "a list in the place of an object", "an object (procedure)"),
    ("lesions", {}, "an object in the place of a list", "a list"),
    ("lesions[0]", [], "a list in the place of an object", "an object (lesion)"),
    ("lesions[0]", None, "null inside a list", "an item, or leave it out"),
    ("patient", "71", "text in the place of an object", "an object (patient)"),
    ("patient.agee", 71, "unknown property of patient", "age"),
    (f"{FIRST}.device.clas", "x", "unknown property of failed_device", "class or wire_class"),
    (f"{FIRST}.situation", "wire_stuk", "unknown code of situation", NEAREST),
    (f"{FIRST}.situation", 3, "a number in the place of a code", "a code of situation, as text"),
    (f"{FIRST}.situation", "closed", f"the code closed {MADE_NO_SENSE}", "another code of situation"),
    ("procedure.urgency", "zzz", "unknown code of urgency", URGENCIES),
    ("patient.age", "71", "text in the place of a number", YEARS),
    ("patient.age", True, "true or false in the place of a number", YEARS),
    ("patient.age", Decimal("70.5"), "not a whole number", YEARS),
    ("patient.age", 121, "outside what is possible", YEARS),
    ("patient.age", -1, "outside what is possible", YEARS),
    ("schema_version", "unknown", "text in the place of a number", "a whole number from 1 to 1"),
    ("schema_version", 2, "outside what is possible", "a whole number from 1 to 1"),
    ("vocabulary_version", "2999.1", "a vocabulary newer than this registry's", "up to 2026.1"),
    ("vocabulary_version", "newest", "not of its form", "such as 2026.1"),
    ("patient.risk.diabetes", True, "neither yes nor no", "yes, no, unknown"),
    ("patient.risk.diabetes", "Yes", "neither yes nor no", "yes, no, unknown"),
    ("lesions[0].medina", "0,0,0", "0,0,0 is not a lesion", 'at least one 1, such as "0,1,0"'),
    ("lesions[0].medina", "1,1", "not a Medina class", A_MEDINA),
    ("lesions[0].medina", [1, 1, 0], "not a Medina class", A_MEDINA),
    ("lesions[0].ref", "n" * 17, "17 characters", "at most 16"),
    ("lesions[0].ref", "unknown", "a reference is never unknown", A_REF),
    (f"{FIRST}.lesion", "unknown", "a reference is never unknown", A_REF),
    (f"{FIRST}.caused_by", "unknown", "a reference is never unknown", A_REF),
    (f"{FIRST}.actions[0].treats", "unknown", "a reference is never unknown", A_REF),
    (f"{FIRST}.after_position", "unknown", "not a position", LATER),
    (f"{FIRST}.after_position", True, "not a position", LATER),
    (f"{FIRST}.after_position", -1, "not a position", LATER),
    (f"{FIRST}.actions[0].position", "unknown", "not a position", RUNG),
    (f"{FIRST}.actions[0].position", 0, "not a position", RUNG),
    (f"{FIRST}.actions[0].position", Decimal("1.5"), "not a position", RUNG),
    (f"{FIRST}.actions[0].position", None, "the action needs it", "a whole number from 1"),
    (
        f"{FIRST}.actions[0].technique",
        "any_percutaneous",
        f"the code any_percutaneous {MADE_NO_SENSE}",
        "another code of technique",
    ),
    (f"{FIRST}.device", None, "the complication needs it", "a value"),
    (
        f"{FIRST}.device.class",
        None,
        "the failed_device needs it",
        "a code of the list device_class, or unknown",
    ),
    ("complications", [], "an empty list, but at least one is needed", "1 or more"),
    ("complications", None, "the case needs it", "a value"),
    ("id", None, "the case needs it", "a value"),
    ("id", " ", "blank", A_NAME),
    ("id", "a\nb", "a control character in a name", "one line of text"),
    ("narrative", 5, "a number in the place of text", "text"),
    ("procedure.started_at", "24:00", "not a time of day", "HH:MM from 00:00 to 23:59"),
    ("procedure.date", "2026-02-30", "there is no day 30 in 2026-02", A_DATE),
    ("procedure.date", "unknown", f"not a date of the form {A_DATE}", A_DATE),
    ("procedure.date", 2026, "a number in the place of a date", f"{A_DATE}, as text"),
    ("procedure.date", None, "the procedure needs it", "a date"),
    (f"{FIRST}.harm.grade", "X", "no scale has this grade", "a grade of the scale beside it"),
    (f"{FIRST}.harm.grade", 3, "a number in the place of a grade", "a grade of its scale, as text"),
    ("outcome.discharge_day", -1, "outside what is possible", DAYS),
    ("outcome.death.day", -1, "outside what is possible", DAYS),
    ("outcome.surgery.day", -1, "outside what is possible", DAYS),
    ("follow_up[0].day", -1, "outside what is possible", DAYS),
]


def only(document: Any) -> str:
    """The one finding of a document, as it is printed."""
    (found,) = findings(document, TODAY)
    assert found.refused
    return str(found)


@pytest.mark.parametrize(("path", "value", "says", "allowed"), WRONG)
def test_a_wrong_value_is_told_with_path_field_value_and_what_is_allowed(
    path: str, value: Any, says: str, allowed: str
) -> None:
    field = path.rsplit(".", maxsplit=1)[-1].split("[", maxsplit=1)[0]
    was = "missing" if value is None else f"value {shown(value)}"
    assert only(changed(BASE, path, value)) == f"$.{path}: field {field}, {was}: {says}; allowed: {allowed}"


@pytest.mark.parametrize(("path", "value"), [("id", "\x00"), ("narrative", "\ud800"), ("note", "a\x00")])
def test_text_that_no_file_can_keep_is_refused_and_shown_without_it(path: str, value: str) -> None:
    line = only(changed(BASE, path, value))
    assert f"{SPLIT}; allowed: readable text" in line
    assert "�" in line


@pytest.mark.parametrize(
    ("document", "says"),
    [
        ([], "a list in the place of an object"),
        (None, "null in the place of an object"),
        ("x", "text in the place of an object"),
    ],
)
def test_a_document_that_is_no_object_is_refused(document: Any, says: str) -> None:
    assert says in only(document)


@pytest.mark.parametrize(
    ("path", "good", "bad", "says"),
    [
        ("id", "n" * 64, "n" * 65, "65 characters; allowed: at most 64"),
        ("narrative", "n" * 20_000, "n" * 20_001, "20001 characters; allowed: at most 20000"),
        ("note", "😀" * 20_000, "😀" * 20_001, "20001 characters; allowed: at most 20000"),
        ("lesions", [{"ref": "n" * 16}], [{"ref": "n" * 17}], "17 characters; allowed: at most 16"),
    ],
)
def test_lengths_are_counted_in_characters_up_to_and_with_the_limit(
    path: str, good: Any, bad: Any, says: str
) -> None:
    assert not findings(changed(a_case(), path, good), TODAY)
    assert says in only(changed(a_case(), path, bad))


def test_20_complications_are_accepted_and_21_refused() -> None:
    (complication,) = a_case()["complications"]
    assert not findings(a_case(*[complication] * 20), TODAY)
    assert only(a_case(*[complication] * 21)) == (
        "$.complications: field complications, value 21: too many items; allowed: at most 20"
    )


def test_100_actions_are_accepted_and_101_refused() -> None:
    actions = [{"position": number} for number in range(1, 102)]
    path = "complications[0].actions"
    assert not findings(changed(a_case(), path, actions[:100]), TODAY)
    assert only(changed(a_case(), path, actions)) == (
        "$.complications[0].actions: field actions, value 101: too many items; allowed: at most 100"
    )


@pytest.fixture
def a_retired_code(monkeypatch: pytest.MonkeyPatch) -> None:
    """The word lists with `planned` of urgency retired, replaced by `urgent`, and grade B of dissections retired."""

    def with_retired(name: str, code: str, replaced_by: str) -> WordList:
        words = word_list(name)
        old = words[code]
        term = Term(code, old.label, old.definition, old.source, retired=True, replaced_by=replaced_by)
        return WordList(name, words.title, words.about, MappingProxyType({**words.terms, code: term}))

    changed_lists = {
        **word_lists(),
        "urgency": with_retired("urgency", "planned", "urgent"),
        "grade_nhlbi_dissection": with_retired("grade_nhlbi_dissection", "B", "C"),
    }
    monkeypatch.setattr(vocabulary, "word_lists", lambda: MappingProxyType(changed_lists))


@pytest.mark.usefixtures("a_retired_code")
def test_a_retired_code_is_refused_with_its_replacement() -> None:
    assert only(changed(a_case(), "procedure.urgency", "planned")) == (
        '$.procedure.urgency: field urgency, value "planned": a retired code of urgency; allowed: replaced by urgent'
    )


@pytest.mark.usefixtures("a_retired_code")
def test_a_retired_grade_is_refused_like_any_retired_code() -> None:
    injury = {"scale": "nhlbi_dissection", "grade": "B"}
    assert "allowed: A, C, D, E, F, other, unknown" in only(a_case(injuries=[injury]))


def test_all_wrong_values_are_told_at_once() -> None:
    document = changed(changed(a_case(), "patient", {"age": "x", "sex": "x"}), "id", 5)
    assert [finding.path for finding in findings(document, TODAY)] == ["id", "patient.age", "patient.sex"]


def test_of_very_many_wrong_values_the_first_hundred_are_told() -> None:
    found = findings(changed(BASE, f"{FIRST}.mechanisms", ["calcum"] * 90_000), TODAY)
    assert len(found) == 101
    assert str(found[-1]) == "more than 100 values are wrong; the rest is not listed"


@pytest.mark.parametrize(
    "path", ["patient", "procedure.urgency", "lesions", "narrative", "complications[0].actions"]
)
def test_null_reads_as_absent(path: str) -> None:
    assert not findings(changed(a_case(), path, None), TODAY)


@pytest.mark.parametrize(
    "value", [{"age": "unknown", "sex": "unknown", "risk": {"weight_kg": "unknown", "diabetes": "unknown"}}]
)
def test_unknown_is_legal_in_coded_and_numeric_fields(value: Document) -> None:
    document = changed(a_case(), "patient", value)
    assert not findings(changed(document, "procedure.act_seconds", [285, "unknown"]), TODAY)


def test_a_key_never_breaks_the_line_of_its_error_nor_fills_it() -> None:
    line = only(a_case(**{"a\nb\ud800" + "c" * 5_000: 1}))
    assert "\n" not in line
    assert len(line) < 1_000
    line.encode()


def test_a_value_nested_out_of_all_reason_is_refused_in_a_line() -> None:
    value: Any = "deep"
    for _ in range(3_000):
        value = [value]
    assert "nested too deep to be shown" in only(changed(a_case(), "narrative", value))


@given(json_values(st.characters()) | mutations(case_documents()))
def test_no_json_value_at_all_makes_the_checks_fail(value: Any) -> None:
    for finding in findings(value, TODAY):
        line = str(finding)
        line.encode()
        assert "\n" not in line
        assert line.startswith("$.") or not finding.path


@given(case_documents())
def test_a_valid_document_has_its_shape_and_is_not_refused(document: Document) -> None:
    assert not list(shape(document))
    assert [str(finding) for finding in refusals_of(document)] == []
