"""Whatever was done to a draft in whatever order, its page can be shown, and what is still open leads somewhere."""

from __future__ import annotations

import datetime
import random
import re

from hypothesis import given
from hypothesis import strategies as st

from registry.drawings.ladder_picture import NARROW
from registry.editing import Refused, apply, begun
from registry.editing.places import found, sub_places
from registry.forms.draft_page import EditorView, Typed, editor_view, unread
from registry.forms.still_open import field_at
from registry.forms.story import where
from tests.builders import a_case, a_ladder
from tests.registry.editing.test_any_operations import an_operation
from tests.strategies import case_documents

TODAY = datetime.date(2026, 6, 30)
OPERATIONS = 25


def shown(document: dict[str, object], opened: str = "") -> EditorView:
    return editor_view(document, Typed(), opened, TODAY)


@given(case_documents(), st.randoms(use_true_random=False))
def test_every_draft_is_shown_with_any_of_its_rows_open(document: dict[str, object], by: random.Random):
    draft = begun(document)
    for _ in range(OPERATIONS):
        try:
            draft = apply(draft, an_operation(draft, by)).document
        except Refused:
            continue
    places = [place.name for place in sub_places(draft)]
    for opened in {where(by.choice(places)) for _ in range(5)} | {""}:
        page = shown(draft, opened)
        assert len(page.complications) == len(draft["complications"])


def test_an_empty_draft_asks_for_what_is_needed_first():
    page = shown(begun({"id": "n", "site": "n", "procedure": {}, "complications": [{}]}))
    assert not page.ready
    needed = [one.says for one in page.open if one.needed]
    assert needed[-2:] == ["The situation, before anything was tried", "How it ended"]
    assert page.complications[0].ladder.next is None


def test_a_short_record_is_ready_though_much_is_open():
    page = shown(begun(a_case()))
    assert page.ready
    assert {"Are these all the acts?", "Antiplatelet plan"} <= {one.says for one in page.open}
    assert not any(one.needed for one in page.open)


def test_what_is_still_open_leads_to_a_place_that_is_there():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction, vasodilator=partly")))
    for one in shown(draft).open:
        name = one.do.removeprefix("open ")
        if one.do.startswith("open C"):
            found(draft, name.rpartition(".")[0])


def test_a_path_of_the_checks_is_named_by_keys():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction, vasodilator")))
    draft = apply(draft, "move rung C1 2 up").document
    assert field_at(draft, "complications[0].actions[0].minutes") == "C1.a2.minutes"
    assert field_at(draft, "complications[0].segments[3]") == "C1.segments"
    assert field_at(draft, "procedure.date") == "procedure.date"
    assert field_at(draft, "") == "case"


def test_a_situation_that_changes_stands_as_a_band_after_its_rung():
    draft = begun(
        a_case(a_ladder("wire_stuck: steady_traction=worse>wire_unravelled, vasodilator=unchanged"))
    )
    ladder = shown(draft).complications[0].ladder
    assert [rung.band for rung in ladder.rungs] == ["Wire unravelled", ""]
    assert ladder.now == "Wire unravelled"


def test_techniques_that_fit_the_situation_now_stand_before_the_others():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction=worse>wire_fractured_in_coronary")))
    asked = shown(draft).complications[0].ladder.next
    assert asked is not None and asked.choices[0].do == "add rung C1 snare_single"
    assert asked.pick is not None and re.match(r"add rung C1$", asked.pick.do)


def test_a_text_whose_row_is_gone_is_said_and_does_no_harm():
    said = unread(begun(a_case()), {"C1.a9.minutes": "4x"})
    assert list(said) == ["C1.a9.minutes"] and "gone" in said["C1.a9.minutes"]


def test_an_unreadable_text_is_told_anew_when_the_page_is_loaded():
    said = unread(begun(a_case()), {"patient.age": "4x"})
    assert "Age, “4x”" in said["patient.age"]


def test_a_device_in_a_rung_is_found_where_its_rung_is_open():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction")))
    draft = apply(draft, "add device C1.a1 snare_single_loop").document
    page = shown(draft, where("C1.a1.device1"))
    assert page.complications[0].ladder.rungs[0].opened
    assert [rows.rows[0].place for rows in page.opened[0].lists] == ["C1.a1.device1"]


def test_the_ladder_so_far_is_drawn_for_a_phone_with_the_catalogues_names():
    device = {"class": "snare_single_loop", "model": "ORLO-3"}
    draft = begun(a_case(a_ladder("wire_stuck: snare_single=resolved")))
    draft["complications"][0]["actions"][0]["devices"] = [{"_key": 1, **device}]
    one = editor_view(draft, Typed(), "", TODAY, {"ORLO-3": "Orlo Three"}).complications[0]
    assert f'viewBox="0 0 {NARROW} ' in one.picture
    for words in (one.picture, one.ladder.rungs[0].words):
        assert "Orlo" in words and "ORLO-3" not in words


def test_what_stands_before_a_list_begins_as_a_sentence():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction"), a_ladder("wire_stuck: vasodilator")))
    picks = [pick for one in shown(draft).complications for pick in one.ladder.picks + one.causes]
    for one in shown(draft, "C1.a1").complications:
        questions = (one.device, one.situation, one.where, one.ending, one.ladder.next)
        picks += [question.pick for question in questions if question and question.pick]
        picks += [pick for rung in one.ladder.rungs for pick in rung.picks]
    assert len(picks) > 10
    assert [pick.label for pick in picks if not pick.label[:1].isupper()] == []


def test_a_situation_is_another_only_beside_those_that_stand_there():
    asked = shown(begun({"complications": [{}]})).complications[0].situation
    assert asked.pick is not None and (asked.choices, asked.pick.label) == ((), "A situation")
    asked = shown(begun({"complications": [{"situation": "wire_stuck"}]})).complications[0].situation
    assert asked.pick is not None and asked.pick.label == "Another situation"


def test_whether_these_are_all_the_acts_has_three_full_answers():
    asked = shown(begun(a_case())).complications[0].all_acts
    assert [choice.label for choice in asked.choices] == [
        "Yes, all",
        "No, some are missing or out of order",
        "The acts are not known",
    ]
    asked = (
        shown(begun(a_case({"situation": "wire_stuck", "actions_known": "unknown"})))
        .complications[0]
        .all_acts
    )
    assert [choice.label for choice in asked.choices if choice.chosen] == ["Not known"]


def test_what_is_open_says_of_which_complication_where_there_are_more():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction"), a_ladder("wire_stuck: vasodilator")))
    says = {one.says for one in shown(draft).open}
    assert {"Complication 1: the result of rung 1", "Complication 2: the result of rung 1"} <= says
    alone = {one.says for one in shown(begun(a_case(a_ladder("wire_stuck: steady_traction")))).open}
    assert "The result of rung 1" in alone


def test_more_about_a_complication_bears_the_number_of_its_place():
    draft = begun(a_case(a_ladder("wire_stuck: steady_traction"), a_ladder("wire_stuck: vasodilator")))
    titles = [group.title for group in shown(draft).groups]
    assert titles[:2] == ["More about complication 1", "More about complication 2"]
    draft = apply(draft, "remove complication 1").document
    assert shown(draft).groups[0].title == "More about the complication"
