"""Two changes of one case: rows and fields of both stand, and what both changed is asked about."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.documents import completed, content
from registry.editing import Refused, apply, begun, finished
from registry.editing.places import copied, sub_places
from registry.forms.aligning import aligned
from registry.forms.codec import read
from registry.forms.merging_cases import merge_cases
from tests.builders import Document, a_case, a_ladder
from tests.registry.forms.test_merging import some_change
from tests.strategies import case_documents

LADDER = "wire_stuck: vasodilator=unchanged, steady_traction=unchanged@4, snare_single=unchanged"


def a_base() -> Document:
    injuries = [{"ref": "I1", "kind": "dissection", "caused_by": "C1", "after_position": 2}]
    return begun(
        a_case(
            a_ladder(LADDER, ref="C1"),
            injuries=injuries,
            duties=[{"kind": "tell_patient"}, {"kind": "follow_up"}],
        )
    )


def did(draft: Document, *operations: str, **typed: str) -> Document:
    """A draft after operations, then with answers typed."""
    for operation in operations:
        draft = apply(draft, operation).document
    for name, text in typed.items():
        full = name.replace("__", ".")
        draft = read(draft, {full: [text]}, [full]).document
    return draft


def as_case(draft: Document) -> Document:
    """What is recorded of a draft: without keys."""
    return finished(draft)


def met(mine: Document, theirs: Document, prefer_mine: bool = False):
    """What comes of two changes of the base, theirs told without keys."""
    return merge_cases(a_base(), mine, aligned(as_case(theirs), a_base(), mine), prefer_mine)


def techniques(draft: Document) -> list[str]:
    return [rung["technique"] for rung in draft["complications"][0]["actions"]]


def test_different_fields_are_merged_without_a_word():
    both = met(did(a_base(), C1__a2__minutes="6"), did(a_base(), patient__age="71"))
    assert both.clashes == ()
    assert as_case(both.document) == as_case(did(a_base(), C1__a2__minutes="6", patient__age="71"))


def test_a_rung_that_i_added_and_a_field_that_they_changed_both_stand():
    mine = did(a_base(), "add rung C1 microcatheter_to_trap", "result C1 4 resolved")
    both = met(mine, did(a_base(), C1__a1__minutes="9"))
    assert both.clashes == ()
    assert as_case(both.document) == as_case(did(mine, C1__a1__minutes="9"))


def test_what_i_changed_in_a_rung_follows_it_where_they_moved_it_or_removed_another():
    for operation in ("move rung C1 2 up", "remove rung C1 1", "place rung C1 3 1"):
        both = met(did(a_base(), C1__a2__note="Felt soft"), did(a_base(), operation))
        assert both.clashes == ()
        assert as_case(both.document) == as_case(did(a_base(), operation, C1__a2__note="Felt soft"))


def test_a_rung_that_i_removed_is_gone_and_what_followed_it_follows_the_one_before():
    both = met(did(a_base(), "remove rung C1 2"), did(a_base(), C1__a3__minutes="7"))
    assert both.clashes == ()
    assert as_case(both.document) == as_case(did(a_base(), "remove rung C1 2", C1__a3__minutes="7"))
    assert both.document["injuries"][0]["after_position"] == 1


def test_the_same_field_changed_by_both_is_asked_and_theirs_stands():
    theirs = did(a_base(), "set C1.ending left_in_place")
    mine = did(a_base(), "set C1.ending out_in_pieces", patient__age="71")
    both = met(mine, theirs)
    (clash,) = both.clashes
    assert (clash.name, clash.mine, clash.theirs) == (
        "C1.ending",
        "Out in pieces, all accounted for",
        "Left in place",
    )
    assert as_case(both.document) == as_case(did(theirs, patient__age="71"))
    kept = met(mine, theirs, prefer_mine=True)
    assert kept.clashes == ()
    assert as_case(kept.document) == as_case(mine)


def test_a_rung_that_they_removed_and_i_changed_is_asked_about_and_comes_back_with_mine():
    mine, theirs = did(a_base(), C1__a2__minutes="6"), did(a_base(), "remove rung C1 2")
    both = met(mine, theirs)
    (clash,) = both.clashes
    assert (clash.name, clash.theirs) == ("C1.a2", None)
    assert "Steady pull" in clash.label and "6" in clash.mine
    assert as_case(both.document) == as_case(theirs)
    assert techniques(met(mine, theirs, prefer_mine=True).document) == techniques(a_base())


def test_a_rung_that_i_removed_and_they_changed_is_asked_about_and_goes_with_mine():
    mine, theirs = did(a_base(), "remove rung C1 2"), did(a_base(), C1__a2__minutes="6")
    (clash,) = met(mine, theirs).clashes
    assert (clash.name, clash.mine) == ("C1.a2", "Removed")
    assert clash.theirs is not None and "6" in clash.theirs
    assert as_case(met(mine, theirs, prefer_mine=True).document) == as_case(mine)


def test_rungs_that_both_added_are_asked_about_since_their_order_is_not_known():
    mine = did(a_base(), "add rung C1 microcatheter_to_trap", C1__a4__minutes="3")
    theirs = did(a_base(), "add rung C1 trap_balloon_in_guide")
    both = met(mine, theirs)
    (clash,) = both.clashes
    assert clash.name == "C1.actions"
    kept = met(mine, theirs, prefer_mine=True)
    assert kept.clashes == ()
    assert set(techniques(kept.document)) == {*techniques(mine), *techniques(theirs)}
    assert sorted(rung["position"] for rung in kept.document["complications"][0]["actions"]) == [
        1,
        2,
        3,
        4,
        5,
    ]


def test_the_same_rung_added_by_both_is_one_rung():
    added = did(a_base(), "add rung C1 microcatheter_to_trap")
    both = met(added, added)
    assert (both.clashes, as_case(both.document)) == ((), as_case(added))


def test_rows_that_both_added_to_another_list_both_stand_under_names_of_their_own():
    mine, theirs = (
        did(a_base(), "injury C1 perforation_main 3"),
        did(a_base(), "injury C1 perforation_distal 1"),
    )
    both = met(mine, theirs)
    assert both.clashes == ()
    injuries = both.document["injuries"]
    assert [one["kind"] for one in injuries].count("dissection") == 1
    assert {one["kind"]: one["after_position"] for one in injuries}["perforation_main"] == 3
    assert len({one["ref"] for one in injuries}) == len({one["_key"] for one in injuries}) == 3


def test_a_row_that_they_made_into_another_is_asked_about():
    theirs = a_base()
    theirs["complications"][0]["actions"][1]["technique"] = "microcatheter_to_trap"
    (clash,) = met(did(a_base(), C1__a2__minutes="6"), theirs).clashes
    assert clash.name == "C1.a2.minutes"


def test_none_that_i_said_against_what_they_recorded_is_asked_about():
    base = begun(a_case(a_ladder(LADDER, ref="C1")))
    mine, theirs = did(base, "none injuries"), did(base, "injury C1 dissection")
    both = merge_cases(base, mine, aligned(as_case(theirs), base, mine))
    assert [(one.name, one.mine, one.theirs) for one in both.clashes] == [("injuries", "None", "1 recorded")]
    assert as_case(both.document) == as_case(theirs)
    back = merge_cases(base, theirs, aligned(as_case(mine), base, theirs))
    assert [(one.mine, one.theirs) for one in back.clashes] == [("1 recorded", "None")]
    assert merge_cases(base, mine, theirs, prefer_mine=True).document["injuries"] == []
    assert len(merge_cases(base, theirs, mine, prefer_mine=True).document["injuries"]) == 1


def test_none_that_nobody_contradicts_stands():
    base = begun(a_case(a_ladder(LADDER, ref="C1")))
    mine = did(base, "none injuries")
    theirs = did(base, patient__age="71")
    assert merge_cases(base, mine, theirs).document["injuries"] == []
    assert merge_cases(base, theirs, mine).document["injuries"] == []
    assert "injuries" not in merge_cases(mine, base, did(mine, patient__age="71")).document


def test_a_case_keeps_one_complication_where_each_removed_another():
    base = did(a_base(), "add complication", "set C2.situation wire_stuck")
    mine, theirs = did(base, "remove complication 1"), did(base, "remove complication 2")
    assert len(merge_cases(base, mine, theirs, prefer_mine=True).document["complications"]) >= 1


def test_a_complication_that_i_added_comes_whole_and_refers_to_what_it_referred_to():
    mine = did(
        a_base(),
        "add complication",
        "caused C2 C1 2",
        "set C2.situation wire_stuck",
        "add rung C2 steady_traction",
    )
    both = met(mine, did(a_base(), "move rung C1 2 up"))
    assert both.clashes == ()
    second = both.document["complications"][1]
    assert (second["caused_by"], second["after_position"]) == ("C1", 1)
    assert [rung["technique"] for rung in second["actions"]] == ["steady_traction"]


OPERATIONS = (
    "add rung C1 steady_traction", "remove rung C1 {key}", "move rung C1 {key} up", "place rung C1 {key} {key}",
    "injury C1 dissection", "remove injury {key}", "add duty tell_patient", "remove duty {key}", "none injuries",
    "decline C1 snare_single", "remove declined C1 {key}", "fragment C1", "remove fragment C1 {key}",
    "none C1.fragments",
    "add complication", "remove complication {key}", "caused C2 C1", "add lesion", "remove lesion {key}",
    "add device C1.a1 guidewire", "none duties",
)  # fmt: skip


def some_operations(draft: Document, by: random.Random) -> Document:
    for _ in range(by.randint(0, 4)):
        try:
            draft = apply(draft, by.choice(OPERATIONS).format(key=by.randint(1, 4))).document
        except Refused:
            draft = some_change(draft, by)
    return draft


@given(case_documents(), st.integers(0, 2**32))
def test_whatever_two_people_do_nothing_is_lost_unasked(document: Document, seed: int):
    by = random.Random(seed)
    base = begun(document)
    mine, theirs = some_operations(base, by), some_operations(base, by)
    before = copied([base, mine, theirs])
    other = aligned(as_case(theirs), base, mine)
    for prefer in (False, True):
        both = merge_cases(base, mine, other, prefer)
        _is_whole(both.document)
    assert [base, mine, theirs] == before
    assert _said(merge_cases(base, mine, base).document) == _said(mine)
    assert merge_cases(base, mine, base).clashes == ()
    assert _said(merge_cases(base, base, other).document) == _said(theirs)
    assert _said(merge_cases(base, mine, mine).document) == _said(mine)


def _said(draft: Document) -> Document:
    """The case that a draft says, its lists without an order sorted: two that differ in that order say the same."""
    return content(completed(as_case(draft)))


def _is_whole(draft: Document) -> None:
    """Keys are given once in each list, positions run from 1, and what is shown can be shown."""
    for place in sub_places(draft):
        for value in (place.thing or {}).values():
            if isinstance(value, list) and value and isinstance(value[0], dict):
                keys = [row["_key"] for row in value]
                assert len(set(keys)) == len(keys)
    for complication in draft["complications"]:
        positions = [rung["position"] for rung in complication.get("actions") or []]
        assert positions == list(range(1, len(positions) + 1))


@given(case_documents(), st.integers(0, 2**32))
def test_taking_an_operation_back_restores_what_was(document: Document, seed: int):
    by = random.Random(seed)
    before = begun(document)
    after = some_operations(before, by)
    assert _said(merge_cases(after, before, after, prefer_mine=True).document) == _said(before)


@given(case_documents(), st.integers(0, 2**32))
def test_an_unchanged_case_finds_all_its_rows_again(document: Document, seed: int):
    mine = some_operations(begun(document), random.Random(seed))
    assert finished(aligned(document, begun(document), mine)) == finished(begun(document))
    assert aligned(document, begun(document), begun(document)) == begun(document)


@pytest.mark.parametrize("removed", [1, 2, 3])
def test_rows_are_found_again_where_one_is_gone(removed: int):
    theirs = did(a_base(), f"remove rung C1 {removed}")
    keys = [
        rung["_key"] for rung in aligned(as_case(theirs), a_base(), a_base())["complications"][0]["actions"]
    ]
    assert keys == [key for key in (1, 2, 3) if key != removed]
