"""Two versions of a case in words: every kind of change is told, and no sealed text is."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from registry.canonical import read, write
from registry.models import Case, Look
from registry.reading.comparing import differences
from registry.recording.cases import amend_case
from registry.terms import CaseState, Role
from tests.builders import a_case, a_ladder, changed
from tests.registry.views.readers import body, in_state, recorded_case, signed_in

THREE = a_ladder(
    "wire_stuck: steady_traction=unchanged, push_and_turn=unchanged, microcatheter_to_trap=unchanged"
)
TWO = a_ladder("wire_stuck: steady_traction=unchanged, microcatheter_to_trap=unchanged")


def told(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """What differs, of documents as a version holds them."""
    return differences(read(write(before)), read(write(after)))


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        ("complications[0].actions[2].result", "partly", "Rung 3, result: was unchanged, is partly"),
        ("complications[0].actions[0].minutes", 4, "Rung 1, minutes: was not recorded, is 4 minutes"),
        ("complications[0].ending", "unknown", "Ending: was out whole, is not known"),
        ("complications[0].device.class", "coil", "Device, class: was guidewire, is embolisation coil"),
        ("complications[0].segments", ["2"], "Segments: was not recorded, is right coronary, mid (2)"),
        ("complications[0].mechanisms", [], "Mechanisms: was not recorded, is none"),
        ("procedure.date", "2026-03", "Procedure, date: was 14 Mar 2026, is March 2026"),
        ("procedure.contrast_ml", 211, "Procedure, contrast: was not recorded, is 211 ml"),
        ("patient.age", "unknown", "Patient, age: was not recorded, is not known"),
        ("patient.risk.diabetes", "yes", "Patient, risk, diabetes: was not recorded, is yes"),
        ("status", "short", "Record: was not recorded, is short record"),
        ("narrative", "A secret.", "A narrative was added"),
        ("complications[0].actions[1].note", "A secret.", "Rung 2: a note was added"),
        ("patient.local_reference", "NM-1", "Patient: a local reference was added"),
        ("injuries", [], "Injuries: were not recorded, are none"),
        ("duties", [{"kind": "keep_device"}], "Duty was added: keep the device"),
        ("injuries", [{"ref": "I1", "kind": "tamponade"}], "Injury was added: tamponade"),
    ],
)  # fmt: skip
def test_a_changed_field_is_told_with_what_it_was_and_is(path: str, value: Any, sentence: str) -> None:
    assert told(a_case(THREE), changed(a_case(THREE), path, value)) == [sentence]


def test_a_rung_that_was_put_in_between_is_told_as_added_and_nothing_else() -> None:
    assert told(a_case(TWO), a_case(THREE)) == ["Rung 2 was added: push on and turn, free, unchanged"]


def test_a_rung_that_was_taken_out_is_told_as_removed() -> None:
    assert told(a_case(THREE), a_case(TWO)) == ["Rung 2 was removed: push on and turn, free, unchanged"]


def test_a_rung_that_moved_and_changed_is_told_with_both_of_its_numbers() -> None:
    after = changed(a_case(THREE), "complications[0].actions[2].result", "worse")
    assert told(a_case(TWO), after)[1] == ("Rung 3 (was 2), result: was unchanged, is made worse")


def test_a_grade_is_told_by_its_scale() -> None:
    before = a_case(
        injuries=[{"ref": "I1", "kind": "coronary_dissection", "scale": "nhlbi_dissection", "grade": "B"}]
    )
    assert told(before, changed(before, "injuries[0].grade", "C")) == ["Injury, grade: was type B, is type C"]


def test_an_object_that_holds_nothing_is_told_as_recorded() -> None:
    assert told(a_case(), a_case(antiplatelet_plan={})) == [
        "Antiplatelet plan: was not recorded, is recorded without particulars"
    ]


def test_a_second_complication_is_told_as_added_and_both_then_have_a_number() -> None:
    other = a_ladder("wire_unravelled:", ending="left_in_place", ref="C2")
    after = a_case({**TWO, "ref": "C1", "ending": "unknown"}, other)
    before = a_case({**TWO, "ref": "C1"})
    assert told(before, after) == [
        "Complication 1, ending: was out whole, is not known",
        "Complication 2 was added: wire unravelled, left in place",
    ]


def test_versions_of_fields_that_only_the_import_fills_are_no_difference() -> None:
    assert told(a_case(), a_case(vocabulary_version="2026.1", schema_version=1)) == []


@pytest.mark.parametrize(
    ("before", "after", "done"),
    [
        ("A secret.", "Another secret.", "changed"),
        ("A secret.", None, "removed"),
        (None, "A secret.", "added"),
    ],
)
def test_of_a_note_it_is_told_that_it_changed_and_never_what_it_says(
    before: str | None, after: str | None, done: str
) -> None:
    old, new = (a_case() if note is None else a_case(narrative=note) for note in (before, after))
    assert told(old, new) == [f"A narrative was {done}"]


def amended(case: Case, document: dict[str, Any]) -> Case:
    """The case with another document."""
    return amend_case(case, document, version=case.version, reason="counted again", by=None)


def page(case: Case, query: str = "", role: Role = Role.PRESENTER) -> str:
    """The words of the page that compares two versions."""
    response = signed_in(role).get(f"/case/{case.code}/versions/{query}")
    assert response.status_code == 200
    return html.unescape(" ".join(re.sub("<[^>]+>", " ", body(response)).split()))


@pytest.fixture
def three_versions(db: None) -> Case:
    """A case amended twice, a note among what changed."""
    case = recorded_case(TWO, narrative="The first secret.")
    case = amended(case, a_case(THREE, narrative="The second secret."))
    return amended(case, changed(a_case(THREE, narrative="The second secret."), "procedure.contrast_ml", 90))


def test_a_page_compares_the_last_version_with_the_one_before_it(three_versions: Case) -> None:
    text = page(three_versions)
    assert "From version 2 to version 3" in text
    assert "Procedure, contrast: was not recorded, is 90 ml" in text
    assert "narrative" not in text
    assert "Amended" in text
    assert "Submitted" not in text


def test_any_two_versions_can_be_compared_whichever_is_named_first(three_versions: Case) -> None:
    for query in ("?from=1&to=3", "?from=3&to=1"):
        text = page(three_versions, query)
        assert "From version 1 to version 3" in text
        assert "Rung 2 was added" in text
        assert "A narrative was changed" in text
        assert "secret" not in text
    assert not Look.objects.exists()


@pytest.mark.parametrize("asked", ["0", "4", "-1", "two", "１", "9" * 400, "1e3", "\0"])
def test_a_version_that_is_not_there_is_named_with_those_that_are(three_versions: Case, asked: str) -> None:
    response = signed_in(Role.PRESENTER).get(
        f"/case/{three_versions.code}/versions/", {"from": asked, "to": "3"}
    )
    assert response.status_code == 200
    assert "is no version of this case; it can be a version from 1 to 3" in body(response)


@pytest.mark.django_db
def test_a_change_of_state_alone_leaves_the_record_the_same() -> None:
    case = in_state(recorded_case(), CaseState.WITHDRAWN)
    text = page(case)
    assert "The record says the same in both." in text
    assert "Withdrawn, from the command line" in text


@pytest.mark.django_db
def test_one_version_alone_has_nothing_to_be_compared_with() -> None:
    assert "This is one version; there is nothing to compare." in page(recorded_case())
