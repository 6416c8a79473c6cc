"""Parting a document into what is kept in the clear and what is sealed, and joining them again."""

from __future__ import annotations

from typing import Any

from hypothesis import given

from registry import case_fields as fields
from registry.canonical import write
from registry.documents import completed
from registry.documents.sealed_fields import after_erasure, joined, parted
from registry.documents.visiting import survey
from tests.builders import Document, a_case, a_ladder, refusals_of
from tests.strategies import case_documents

SECRET = "Q7-secret"


def test_free_text_and_what_points_at_one_patient_or_device_is_sealed() -> None:
    sealed = {path for path, kind in fields.walk() if fields.sealed(kind)}
    notes = {path for path, _ in fields.walk() if path.rsplit(".", 1)[-1] == "note"}
    devices = {path for path, _ in fields.walk() if path.rsplit(".", 1)[-1] in ("udi", "serial")}
    assert notes | devices < sealed
    assert sealed - notes - devices == {
        "narrative",
        "patient.local_reference",
        "complications[].fragments[].mr_note",
        "outcome.troponin.assay",
        "outcome.in_hospital[].treatment",
        "outcome.surgery.found",
        "antiplatelet_plan.drugs[].who_decides_at_stop",
        "antiplatelet_plan.departs_because",
    }


def _filled(kind: fields.Field) -> Any:
    """A value for each property, with a secret in each that is sealed."""
    if isinstance(kind, fields.Thing):
        return {name: _filled(inner) for name, inner in kind.fields.items()}
    if isinstance(kind, fields.List):
        return [_filled(kind.item), _filled(kind.item)]
    return SECRET if fields.sealed(kind) else "plain"


def test_nothing_sealed_stays_in_the_clear_document() -> None:
    document = _filled(fields.CASE)
    clear, sealed = parted(document)
    assert SECRET not in write(clear)
    assert set(sealed.values()) == {SECRET}
    assert len(sealed) == write(document).count(SECRET)
    assert joined(clear, sealed) == document


@given(case_documents())
def test_parting_and_joining_gives_the_same_document(document: Document) -> None:
    complete = completed(document)
    clear, sealed = parted(complete)
    assert joined(clear, sealed) == complete


@given(case_documents())
def test_the_clear_document_holds_the_texts_of_no_sealed_field(document: Document) -> None:
    clear, sealed = parted(completed(document))
    assert not any(text for _, kind, text in _values(clear) if fields.sealed(kind))
    assert len(sealed) == sum(fields.sealed(kind) for _, kind, _ in _values(completed(document)))


def _values(document: Document) -> list[tuple[str, fields.Field, Any]]:
    """All single values of a document, the number of the model apart from its UDI left out."""
    without = _without(document)
    return [value for values in survey(without).values.values() for value in values]


def _without(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without(inner) for key, inner in value.items() if key != "gtin"}
    return [_without(item) for item in value] if isinstance(value, list) else value


def test_pointers_name_the_place() -> None:
    ladder = a_ladder("wire_stuck: steady_traction", note="n1")
    ladder["actions"][0]["note"] = "n2"
    _, sealed = parted(
        a_case(ladder, lesions=[{}, {"note": "n3"}], patient={"local_reference": "A-7"}, note="n4")
    )
    assert sealed == {
        "/complications/0/note": "n1",
        "/complications/0/actions/0/note": "n2",
        "/lesions/1/note": "n3",
        "/patient/local_reference": "A-7",
        "/note": "n4",
    }


def test_objects_of_which_all_is_sealed_leave_no_trace_but_come_back() -> None:
    document = a_case(
        patient={"local_reference": "A-7"}, outcome={"troponin": {"assay": "T"}}, lesions=[{"note": "x"}]
    )
    clear, sealed = parted(document)
    assert "patient" not in clear
    assert "outcome" not in clear
    assert clear["lesions"] == [{}]
    assert joined(clear, sealed) == document


def test_the_udi_is_sealed_and_only_the_number_of_the_model_stays() -> None:
    device = {"class": "guidewire", "udi": "(01)09506000134352(21)77", "serial": "77", "lot": "L9"}
    clear, sealed = parted(a_case(a_ladder("wire_stuck:", device=device)))
    assert clear["complications"][0]["device"] == {
        "class": "guidewire",
        "lot": "L9",
        "gtin": "09506000134352",
    }
    assert sorted(sealed) == ["/complications/0/device/serial", "/complications/0/device/udi"]


def test_a_udi_that_cannot_be_read_leaves_no_number() -> None:
    clear, _ = parted(
        a_case(a_ladder("wire_stuck:", device={"class": "guidewire", "udi": "+A123BJC5D6E71G"}))
    )
    assert clear["complications"][0]["device"] == {"class": "guidewire"}


def test_the_document_given_is_left_alone() -> None:
    document = a_case(note="x", patient={"local_reference": "A-7"})
    before = write(document)
    clear, sealed = parted(document)
    joined(clear, sealed)
    after_erasure(clear)
    assert write(document) == before
    assert "note" not in clear


@given(case_documents())
def test_an_erased_document_still_passes_the_checks_and_is_erased(document: Document) -> None:
    clear, _ = parted(completed(document))
    erased = after_erasure(clear)
    assert [str(finding) for finding in refusals_of(erased)] == []
    assert completed(erased) == erased
    texts = [(path, text) for path, kind, text in _values(erased) if fields.sealed(kind)]
    assert all(path.endswith("note") and text.endswith("erased") for path, text in texts)
    again, _ = parted(erased)
    assert after_erasure(again) == erased


def test_a_note_that_a_rule_demands_reads_erased() -> None:
    ladder = a_ladder("other: other", ending="other", note="situation, ending: a loop of wire")
    ladder["actions"][0]["note"] = "a pair of pliers"
    document = a_case(ladder, outcome={"surgery": {"found": "a loop"}}, narrative="long", note="x")
    erased = after_erasure(parted(document)[0])
    complication = erased["complications"][0]
    assert complication["note"] == "situation, ending: erased"
    assert complication["actions"][0]["note"] == "erased"
    assert erased["outcome"] == {"surgery": {"note": "erased"}}
    assert "narrative" not in erased
    assert "note" not in erased
