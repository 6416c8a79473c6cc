"""Grades need their scale, and `other` needs a note."""

from __future__ import annotations

from typing import Any

import pytest

from registry.documents import findings
from tests.builders import TODAY, Document, a_case, a_ladder, changed, refusals_of

FIRST = "complications[0]"


def refused(document: Document) -> list[tuple[str, Any]]:
    """Paths and values of what is refused."""
    return [(finding.path, finding.value) for finding in refusals_of(document)]


def line(document: Document) -> str:
    """The one finding of a document, as it is printed."""
    (found,) = findings(document, TODAY)
    return str(found)


@pytest.mark.parametrize("scale", [None, "unknown", "other"])
def test_a_grade_without_its_scale_is_refused(scale: str | None) -> None:
    injury = {"scale": scale, "grade": "B", "note": "by whom"}
    assert refused(a_case(injuries=[injury])) == [("injuries[0].grade", "B")]


@pytest.mark.parametrize("scale", [None, "unknown"])
def test_other_is_a_grade_of_another_scale_only(scale: str | None) -> None:
    injury = {"scale": scale, "grade": "other", "note": "our own"}
    assert refused(a_case(injuries=[injury])) == [("injuries[0].grade", "other")]


def test_a_grade_of_another_scale_is_refused_with_those_of_its_own() -> None:
    document = a_case(injuries=[{"scale": "ellis_perforation", "grade": "3b"}])
    assert line(document) == (
        '$.injuries[0].grade: field grade, value "3b": the scale ellis_perforation has no such grade; '
        "allowed: I, II, III, III_CS, V, other, unknown"
    )


@pytest.mark.parametrize(
    "harm",
    [
        {"scale": "nhlbi_dissection", "grade": "B"},
        {"scale": "nhlbi_dissection"},
        {"scale": "nhlbi_dissection", "grade": "unknown"},
        {"scale": None, "grade": "unknown"},
        {"scale": "other", "grade": "other", "note": "a scale of our own, grade 2"},
    ],
)
def test_a_grade_of_its_scale_passes_and_may_be_unknown(harm: Document) -> None:
    assert not findings(a_case(injuries=[harm]), TODAY)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("status", "other"),
        ("procedure.urgency", "other"),
        ("procedure.access", [{"site": "other"}]),
        ("patient.risk", None),
        ("lesions", [{"segments": ["2", "other"]}]),
        ("lesions", [{"graft": {"type": "other"}}]),
        ("lesions", [{"contents": [{"device": {"class": "other"}}]}]),
        (f"{FIRST}.device.class", "other"),
        (f"{FIRST}.harm", {"scale": "other"}),
        (f"{FIRST}.ended", {"where": "other"}),
        (f"{FIRST}.actions", [{"position": 1, "technique": "other"}]),
        (f"{FIRST}.actions", [{"position": 1, "adjuncts": ["other"]}]),
        (f"{FIRST}.declined", [{"reason": "other"}]),
        (f"{FIRST}.fragments", [{"imaging": ["other"], "state": "out"}]),
        ("injuries", [{"kind": "other"}]),
        ("outcome", {"surgery": {"did": ["other"]}}),
        ("antiplatelet_plan", {"reasons": ["other"]}),
        ("duties", [{"kind": "other"}]),
        ("follow_up", [{"events": [{"event": "other"}]}]),
    ],
)
def test_other_needs_the_note_of_its_own_object(path: str, value: Any) -> None:
    document = changed(a_case(), path, value)
    holders = [(holder, where) for holder, where in _holders(document) if _says_other(holder)]
    assert [finding.path for finding in refusals_of(document)] == [f"{where}note" for _, where in holders]
    for holder, _ in holders:
        holder["note"] = " \n"
    assert len(refusals_of(document)) == len(holders)
    for holder, _ in holders:
        holder["note"] = "what it was"
    assert not refusals_of(document)


def _holders(value: Any, where: str = "") -> list[tuple[Document, str]]:
    """Every object with the start of the paths of its fields."""
    found = [(value, where)] if isinstance(value, dict) else []
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inner:
        here = f"{where.removesuffix('.')}[{key}]." if isinstance(key, int) else f"{where}{key}."
        found += _holders(one, here)
    return found


def _says_other(holder: Document) -> bool:
    return any(
        value == "other" or (isinstance(value, list) and "other" in value) for value in holder.values()
    )


def test_other_as_sex_needs_no_note() -> None:
    assert not findings(a_case(patient={"sex": "other"}), TODAY)


@pytest.mark.parametrize(
    "note",
    [
        None,
        "",
        "it was a loop",
        "situation: it was a loop",
        "situation, ending:",
        "situation, ending:  \n",
        "ending",
    ],
)
def test_other_in_a_complication_needs_a_note_that_starts_with_each_fields_name(note: str | None) -> None:
    document = a_case(a_ladder("other:", ending="other", note=note))
    assert refused(document) == [(f"{FIRST}.note", note)]
    assert refusals_of(document)[0].allowed == "situation, ending: what it was"


@pytest.mark.parametrize(
    "note",
    [
        "situation, ending: it was a loop",
        "ending, situation, phase: a loop",
        "Situation , Ending : so: it was",
    ],
)
def test_a_note_that_names_the_fields_explains_them(note: str) -> None:
    assert not refused(a_case(a_ladder("other:", ending="other", note=note)))


def test_lists_of_a_complication_are_named_in_its_note_too() -> None:
    document = a_case(a_ladder("wire_stuck:", mechanisms=["calcium", "other"], note="situation: x"))
    assert refused(document) == [(f"{FIRST}.note", "situation: x")]
    assert not refused(changed(document, f"{FIRST}.note", "mechanisms: an old clip"))
