"""Two pages at one draft: what each changed stands, and what both changed is asked about."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from registry.editing import apply, begun
from registry.editing.places import copied
from registry.forms.codec import Merged, merge, read, sections, sent, shown
from tests.builders import Document, a_case, a_ladder
from tests.strategies import case_documents


def a_draft() -> Document:
    ladder = a_ladder("wire_stuck: vasodilator=unchanged, steady_traction=unchanged@4", ref="C1")
    injury = {"ref": "I1", "kind": "dissection", "caused_by": "C1", "after_position": 1}
    return begun(a_case(ladder, injuries=[injury]))


def with_answer(draft: Document, name: str, text: str) -> Document:
    return read(draft, {name: [text]}, [name]).document


def merged(mine: tuple[str, str], theirs: Document, prefer_mine: bool = False) -> Merged:
    base = a_draft()
    return merge(base, with_answer(base, *mine), theirs, prefer_mine)


def test_different_fields_are_merged_without_a_word():
    theirs = with_answer(a_draft(), "patient.age", "71")
    both = merged(("C1.a2.minutes", "6"), theirs)
    assert both.clashes == ()
    assert both.document == with_answer(with_answer(a_draft(), "patient.age", "71"), "C1.a2.minutes", "6")


def test_what_i_left_alone_does_not_wipe_out_what_the_other_wrote():
    theirs = with_answer(a_draft(), "patient.age", "71")
    assert merge(a_draft(), a_draft(), theirs).document == theirs


def test_the_same_change_twice_is_no_clash():
    theirs = with_answer(a_draft(), "C1.a2.minutes", "6")
    assert merged(("C1.a2.minutes", "6"), theirs) == Merged(theirs, ())


def test_a_field_that_both_changed_is_named_with_both_values_and_theirs_stands():
    theirs = with_answer(a_draft(), "C1.ending", "left_in_place")
    both = merged(("C1.ending", "out_in_pieces"), theirs)
    (clash,) = both.clashes
    assert (clash.name, clash.label) == ("C1.ending", "How it ended")
    assert (clash.mine, clash.theirs) == ("Out in pieces, all accounted for", "Left in place")
    assert both.document == theirs


def test_mine_may_be_preferred_where_they_differ():
    theirs = with_answer(with_answer(a_draft(), "C1.a2.minutes", "9"), "patient.age", "71")
    both = merged(("C1.a2.minutes", "?"), theirs, prefer_mine=True)
    assert both.clashes == ()
    assert both.document == with_answer(theirs, "C1.a2.minutes", "?")


def test_a_row_that_the_other_removed_is_asked_about_and_not_made_again():
    theirs = apply(a_draft(), "remove rung C1 2").document
    for prefer_mine in (False, True):
        both = merged(("C1.a2.minutes", "6"), theirs, prefer_mine)
        (clash,) = both.clashes
        assert (clash.mine, clash.theirs) == ("6", None)
        assert both.document == theirs


def test_what_stands_after_a_rung_follows_it_when_the_other_moved_it():
    theirs = apply(a_draft(), "move rung C1 2 up").document
    both = merged(("I1.after_position", "C1.a2"), theirs)
    assert both.clashes == ()
    assert both.document["injuries"][0]["after_position"] == 1


def test_a_reference_to_a_row_that_the_other_removed_is_asked_about():
    theirs = apply(a_draft(), "remove injury 1").document
    both = merged(("C1.a1.treats", "I1"), theirs)
    assert [(clash.name, clash.theirs) for clash in both.clashes] == [("C1.a1.treats", "Not recorded")]
    assert both.document == theirs


def test_two_causes_that_would_make_a_circle_are_asked_about():
    base = apply(a_draft(), "add complication").document
    mine, theirs = (
        with_answer(base, name, to) for name, to in (("C1.caused_by", "C2"), ("C2.caused_by", "C1"))
    )
    both = merge(base, mine, theirs)
    assert [clash.name for clash in both.clashes] == ["C1.caused_by"]
    assert both.document == theirs


@given(case_documents(), st.integers(0, 2**32))
def test_one_change_of_mine_and_one_of_theirs_both_stand_or_are_named(document: Document, seed: int):
    by = random.Random(seed)
    base = begun(document)
    mine, theirs = some_change(base, by), some_change(base, by)
    given_before = copied([base, mine, theirs])
    both = merge(base, mine, theirs)
    assert [base, mine, theirs] == given_before
    assert merge(base, mine, base) == Merged(mine, ())
    assert merge(base, base, theirs) == Merged(theirs, ())
    if not both.clashes:
        assert merge(base, theirs, mine).document == both.document
    assert all(clash.mine != clash.theirs for clash in both.clashes)


def some_change(draft: Document, by: random.Random) -> Document:
    """The draft with one field of choices answered otherwise."""
    fields = [field for section in by.sample(sections(draft), 3) for field in shown(draft, section)]
    field = by.choice([field for field in fields if field.kind == "choice"] or fields)
    posted = {**sent(field), field.name: [by.choice(field.options).value]} if field.options else sent(field)
    return read(draft, posted, [field.name]).document
