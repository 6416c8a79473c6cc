"""What a page shows of a draft and takes back: untouched it changes nothing, touched only what was touched."""

from __future__ import annotations

import math
import random
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

import pytest
from django.http import QueryDict
from hypothesis import given
from hypothesis import strategies as st

from registry import field_kinds as kinds
from registry.canonical import canonical
from registry.case_fields import CASE, walk
from registry.editing import Gone, begun, finished
from registry.editing.places import copied, found, kind_of, parts_of, sub_places
from registry.field_kinds import Field, List, Number, Thing
from registry.forms.codec import FieldShown, Read, read, sections, sent, shown
from registry.forms.labels import words_of
from registry.terms import UNKNOWN
from tests.builders import Document, a_case, a_ladder
from tests.fixtures.test_cases import EIGHT, case
from tests.strategies import case_documents

Posted = dict[str, list[str]]


def through_a_browser(fields: list[FieldShown], **changed: list[str]) -> Posted:
    """What reaches the server of these fields: as HTML keeps them, then as a form sends them."""
    posted: list[tuple[str, str]] = []
    for field in fields:
        for name, texts in {**sent(field), **{k: v for k, v in changed.items() if k == field.name}}.items():
            posted += [(name, as_html_keeps(text, field.kind)) for text in texts]
    encoded = QueryDict(urlencode(posted))
    return {name: [str(text) for text in encoded.getlist(name)] for name in encoded}


def as_html_keeps(text: str, control: str) -> str:
    """A line keeps no line end; a textarea, printed after a line break, sends every line end as two characters."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text.replace("\n", "\r\n") if control == "lines" else text.replace("\n", "")


def reread(draft: Document, section: str, **changed: list[str]) -> Read:
    return read(draft, through_a_browser(shown(draft, section), **changed), [section])


def answered(draft: Document, name: str, *texts: str, unknown: bool = False) -> Read:
    """The draft after one field was sent with these texts."""
    box = {f"{name}?": ["on"]} if unknown else {}
    return read(draft, {name: list(texts), **box}, [name])


def a_draft() -> Document:
    ladder = a_ladder("wire_stuck: steady_traction=unchanged@4, snare_multi=partly", ref="C1", lesion="L1")
    injury = {"ref": "I1", "kind": "dissection", "caused_by": "C1", "after_position": 1}
    return begun(a_case(ladder, lesions=[{"ref": "L1", "segments": ["6"]}], injuries=[injury]))


def rung(document: Document) -> Document:
    found: Document = document["complications"][0]["actions"][0]
    return found


@pytest.mark.parametrize("name", [*EIGHT, "every_property", "minimum"])
def test_every_section_of_a_written_case_comes_back_as_it_was(name: str):
    draft = begun(case(name))
    for section in sections(draft):
        taken = reread(draft, section)
        assert (taken.document, taken.typed, taken.messages) == (draft, {}, {})
        assert taken.fields == [field.name for field in shown(draft, section)]
    assert canonical(finished(draft)) == canonical(case(name))


@given(case_documents())
def test_every_section_of_any_case_comes_back_as_it_was(document: Document):
    draft = begun(document)
    before = copied(draft)
    posted: Posted = {}
    for section in sections(draft):
        posted |= through_a_browser(shown(draft, section))
    taken = read(draft, posted, sections(draft))
    assert (taken.document, taken.typed, taken.messages) == (before, {}, {})
    assert draft == before


@given(case_documents(), st.integers(0, 2**32))
def test_one_field_changed_changes_that_field_alone(document: Document, seed: int):
    by = random.Random(seed)
    draft = begun(document)
    section = by.choice(sections(draft))
    field = by.choice(shown(draft, section))
    texts = another_answer(field, by, kind_of(draft, field.name))
    taken = reread(draft, section, **{field.name: texts})
    if field.unknown:
        assert taken.messages.keys() == {field.name} or texts == [""]
        return
    assert taken.messages == {}
    ours = {each.name: each.value for each in all_fields(draft)}
    theirs = {each.name: each.value for each in all_fields(taken.document)}
    differ = {name for name in {*ours, *theirs} if ours.get(name) != theirs.get(name)}
    place, name = parts_of(field.name)
    follow = {"scale": "grade", "caused_by": "after_position"}.get(name)
    assert differ <= {field.name, f"{place}.{follow}"}
    assert texts == list(sent(field).get(field.name, [])) or field.name in differ or texts == [""]


def all_fields(draft: Document) -> list[FieldShown]:
    return [field for section in sections(draft) for field in shown(draft, section)]


def another_answer(field: FieldShown, by: random.Random, kind: Field) -> list[str]:
    """An answer that the field takes, most often another than it holds."""
    if field.kind == "choice":
        return [by.choice(field.options).value]
    if field.kind == "choices":
        return [option.value for option in by.sample(field.options, by.randint(0, 2))]
    least = max(3, math.ceil(kind.hard[0])) if isinstance(kind, Number) else 3
    taken = {"number": str(least), "values": "", "date": "2026-02", "clock": "07:45"}
    return [taken.get(field.kind, "something else")] if not field.name.endswith("version") else [""]


def test_what_is_not_named_is_not_read():
    draft = a_draft()
    posted = {"C1.a1.minutes": ["9"], "C1.situation": ["wire_unravelled"], "C1.a2.minutes": ["3"]}
    taken = read(draft, posted, ["C1.a1"])
    assert rung(taken.document)["minutes"] == 9
    rung(taken.document)["minutes"] = 4
    assert taken.document == draft


def test_a_single_field_may_be_named_in_the_place_of_a_section():
    taken = read(a_draft(), {"procedure.kind": ["pci"], "procedure.support": ["none"]}, ["procedure.kind"])
    assert taken.document["procedure"] == {"date": "2026-03-14", "kind": "pci"}


def test_a_field_that_was_not_sent_is_left_but_boxes_of_which_none_is_ticked_are_emptied():
    draft = a_draft()
    rung(draft)["adjuncts"] = ["anchor_balloon"]
    taken = read(draft, {}, ["C1.a1"])
    assert rung(taken.document)["minutes"] == 4
    assert "adjuncts" not in rung(taken.document)


def test_a_list_said_to_be_empty_stays_so_while_nothing_is_ticked():
    draft = a_draft()
    rung(draft)["adjuncts"] = []
    assert rung(read(draft, {}, ["C1.a1"]).document)["adjuncts"] == []


def test_a_new_tick_stands_after_those_that_stood_in_their_own_order():
    draft = begun(a_case(lesions=[{"segments": ["7", "6", "13"]}]))
    taken = answered(draft, "L1.segments", "5", "6", "7")
    assert taken.document["lesions"][0]["segments"] == ["7", "6", "5"]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("9", 9),
        ("2,5", Decimal("2.5")),
        (" 07.50 ", Decimal("7.5")),
        ("?", UNKNOWN),
        ("unknown", UNKNOWN),
        ("0", 0),
    ],
)
def test_a_number_is_taken_as_people_write_it(text: str, value: Any):
    taken = answered(a_draft(), "C1.a1.minutes", text)
    assert (rung(taken.document)["minutes"], taken.messages) == (value, {})
    assert type(rung(taken.document)["minutes"]) is type(value)


def test_not_known_is_a_box_of_its_own_and_an_emptied_number_is_not_recorded():
    assert rung(answered(a_draft(), "C1.a1.minutes", "", unknown=True).document)["minutes"] == UNKNOWN
    assert "minutes" not in rung(answered(a_draft(), "C1.a1.minutes", "").document)


def test_a_value_and_not_known_together_are_asked_about():
    taken = answered(a_draft(), "C1.a1.minutes", "5", unknown=True)
    assert taken.document == a_draft()
    assert taken.typed == {"C1.a1.minutes": "5", "C1.a1.minutes?": "on"}
    assert taken.messages["C1.a1.minutes"] == (
        "How long it took, “5”: both a value and “not known”. Allowed: one of the two, or neither."
    )


def test_what_cannot_be_read_stays_as_typed_and_is_shown_again_with_the_reason():
    draft = a_draft()
    taken = answered(draft, "C1.a1.minutes", "4x")
    assert (taken.document, taken.typed) == (draft, {"C1.a1.minutes": "4x"})
    assert taken.messages["C1.a1.minutes"] == (
        "How long it took, “4x”: not a number. "
        "Allowed: a number from 0 to 100,000 minutes, or ? for not known."
    )
    (again,) = shown(taken.document, "C1.a1.minutes", taken.typed, taken.messages)
    assert (again.text, again.value, again.unknown) == ("4x", 4, False)
    assert again.message == taken.messages["C1.a1.minutes"]


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("C1.a1.minutes", "1e3", "not a number"),
        ("C1.a1.minutes", "-1", "outside what is possible"),
        ("C1.a1.minutes", "1.2345", "3 decimals"),
        ("patient.age", "70.5", "not a whole number"),
        ("procedure.date", "14.3.2026", "not a date of the form"),
        ("procedure.date", "2026-02-30", "no day 30 in 2026-02"),
        ("procedure.started_at", "8:40", "not a time of day"),
        ("procedure.act_seconds", "280; long", "not a number"),
        ("C1.situation", "closed", "makes no sense here"),
        ("C1.a1.technique", "magic", "unknown code of technique"),
        ("C1.a1.treats", "I7", "no injury 7 here"),
        ("C1.a1.treats", "C1", "is no injury"),
        ("C1.lesion", "case", "is no lesion"),
        ("I1.after_position", "C2.a1", "that complication"),
        ("I1.after_position", "C1.a9", "no rung 9"),
        ("I1.grade", "III", "not a grade of the scale"),
        ("patient.age", "१२", "not a number"),
        ("C1.device.lot", "x" * 201, "201 characters"),
        ("C1.note", "a\x00b", "“a\ufffdb”: text with a NUL"),
    ],
)
def test_each_kind_says_what_is_the_matter_in_its_own_words(name: str, text: str, says: str):
    draft = a_draft()
    taken = answered(draft, name, text)
    assert says in taken.messages[name]
    assert (
        words_of(found(draft, parts_of(name)[0]).kind.name, parts_of(name)[1]).label in taken.messages[name]
    )
    assert (taken.document, taken.typed) == (draft, {name: text})


def test_several_numbers_or_days_stand_in_one_line():
    draft = answered(a_draft(), "procedure.act_seconds", "254,5; 310 ?").document
    assert draft["procedure"]["act_seconds"] == [Decimal("254.5"), 310, UNKNOWN]
    assert shown(draft, "procedure.act_seconds")[0].text == "254.5; 310; ?"
    days = answered(draft, "antiplatelet_plan.review_dates", "2026-10-21, 2027-04").document
    assert days["antiplatelet_plan"]["review_dates"] == ["2026-10-21", "2027-04"]


def test_a_reference_is_chosen_by_its_row_and_stored_by_its_name():
    draft = a_draft()
    draft["injuries"][0]["ref"] = "harm"
    taken = answered(draft, "C1.a2.treats", "I1")
    assert taken.document["complications"][0]["actions"][1]["treats"] == "harm"
    (field,) = shown(taken.document, "C1.a2.treats")
    assert field.chosen == ("I1",)
    assert [(option.value, option.label) for option in field.options] == [
        ("", "Not recorded"),
        ("I1", "Injury harm: coronary dissection"),
    ]


def test_a_place_after_a_rung_is_chosen_by_the_rung_and_not_by_its_number():
    (field,) = shown(a_draft(), "I1.after_position")
    assert field.chosen == ("C1.a1",)
    assert [option.label for option in field.options] == [
        "Not recorded",
        "Before the first rung",
        "After rung 1, Steady pull",
        "After rung 2, Multi-loop snare",
    ]
    assert answered(a_draft(), "I1.after_position", "C1.a2").document["injuries"][0]["after_position"] == 2
    assert answered(a_draft(), "I1.after_position", "0").document["injuries"][0]["after_position"] == 0


def test_another_cause_drops_the_rung_and_another_scale_the_grade_that_no_longer_fit():
    draft = a_draft()
    draft["complications"].append({"_key": 2, "ref": "C2"})
    injury = reread(draft, "I1", **{"I1.caused_by": ["C2"]}).document["injuries"][0]
    assert injury["caused_by"] == "C2" and "after_position" not in injury
    draft["injuries"][0] |= {"scale": "nhlbi_dissection", "grade": "C"}
    rescaled = reread(draft, "I1", **{"I1.scale": ["ellis_perforation"]}).document["injuries"][0]
    assert "grade" not in rescaled


def test_a_complication_cannot_be_said_to_cause_itself():
    draft = a_draft()
    draft["complications"].append({"_key": 2, "ref": "C2", "caused_by": "C1"})
    assert "caused itself" in answered(draft, "C1.caused_by", "C2").messages["C1.caused_by"]


@pytest.mark.parametrize(
    ("stored", "typed", "kept"),
    [
        ("one\ntwo", "one\r\ntwo\r\n", "one\ntwo\n"),
        ("one\r\ntwo", "one\r\nthree", "one\r\nthree"),
        ("", "  two spaces", "  two spaces"),
        ("words", "\r\nwords", "\nwords"),
    ],
)
def test_changed_text_is_kept_as_given_with_the_line_ends_that_stood(stored: str, typed: str, kept: str):
    draft = a_draft()
    draft["narrative"] = stored
    assert answered(draft, "case.narrative", typed).document["narrative"] == kept


@pytest.mark.parametrize("stored", ["\nfirst line blank", "\r\n", "a\rb", "a\r\nb\nc", " ", "", "tail\n\n"])
def test_text_that_nobody_touched_keeps_every_character(stored: str):
    draft = a_draft()
    draft["narrative"] = draft["procedure"]["note"] = stored
    draft["patient"] = {"local_reference": stored}
    for section in ("case", "procedure", "patient"):
        assert reread(draft, section).document == draft


def test_emptied_fields_are_not_recorded_and_take_their_empty_object_along():
    draft = answered(a_draft(), "outcome.death.cause", "cardiac").document
    assert draft["outcome"] == {"death": {"cause": "cardiac"}}
    assert answered(draft, "outcome.death.cause", "").document == a_draft()


def test_opening_a_section_that_is_absent_makes_nothing():
    draft = begun({"complications": [{}]})
    for section in sections(draft):
        assert reread(draft, section).document == draft


def test_a_choice_begins_with_not_recorded_and_ends_with_not_known():
    for field in all_fields(begun(case("every_property"))):
        if field.kind == "choice" and field.name.rsplit(".", 1)[-1] not in (
            "lesion",
            "treats",
            "caused_by",
            "after_position",
        ):
            assert (field.options[0].value, field.options[-1].value) == ("", UNKNOWN), field.name


def test_a_row_that_is_gone_is_said_to_be_gone():
    for name in ("C1.a9", "C2", "C1.a1.colour", "nowhere", "C1.a1.devices"):
        with pytest.raises(Gone):
            read(a_draft(), {}, [name])


def test_every_field_of_the_document_has_a_label():
    assert len(list(_objects(CASE))) > 30
    for thing in _objects(CASE):
        for name in thing.fields:
            words = words_of(thing.name, name)
            assert words.label[0].isupper() and "_" not in words.label, (thing.name, name)


def test_every_field_but_names_of_rows_and_positions_is_shown():
    draft = begun(case("every_property"))
    typed = {f"{place.kind.name}.{name}" for place in sub_places(draft) for name in _names(draft, place.name)}
    left_out = {f"{thing.name}.{name}" for thing in _objects(CASE) for name in thing.fields} - typed
    assert {
        f"{thing.name}.{name}"
        for thing in _objects(CASE)
        for name, kind in thing.fields.items()
        if isinstance(kind, Thing | kinds.Label) or (isinstance(kind, List) and isinstance(kind.item, Thing))
    } | {"case.schema_version", "case.vocabulary_version", "action.position"} == left_out
    assert len(walk()) > len(typed)


def _names(draft: Document, section: str) -> list[str]:
    return [parts_of(field.name)[1] for field in shown(draft, section)]


def _objects(thing: Thing) -> list[Thing]:
    inner = [kind.item if isinstance(kind, List) else kind for kind in thing.fields.values()]
    return [thing, *(each for kind in inner if isinstance(kind, Thing) for each in _objects(kind))]
