"""Each operation on a draft says one thing, does it, and names where to go on."""

from __future__ import annotations

import pytest

from registry.editing import Gone, Outcome, Refused, aim_for, apply, begun, faced, finished, suggested
from registry.editing.prefilling import JOINED, LOOSE, STAYS
from registry.ladder import ladder_of
from registry.terms import CLOSED, OTHER, UNKNOWN
from registry.vocabulary import word_list
from tests.builders import Document, a_case, a_ladder, refusals_of

BLANK = {"id": "N-1", "site": "north", "procedure": {"date": "2026-03-14"}, "complications": [{}]}
THREE = "wire_stuck: vasodilator=unchanged, steady_traction=worse>wire_unravelled, snare_over_wire=unchanged"


def after(draft: Document, *operations: str) -> Outcome:
    """The last outcome of some operations, one after the other."""
    outcome = Outcome(draft)
    for words in operations:
        outcome = apply(outcome.document, words)
    return outcome


def three_rungs(**more: object) -> Document:
    return begun(a_case(a_ladder(THREE, ref="C1"), **more))


def techniques(draft: Document) -> list[str]:
    return [action["technique"] for action in draft["complications"][0]["actions"]]


def test_the_plain_case_is_logged_in_ten_touches_and_each_leads_to_the_next():
    outcome, went = Outcome(begun(BLANK)), []
    for words in (
        "set C1.device.class guidewire",
        "set C1.situation wire_stuck",
        "segment C1 9",
        "add rung C1 steady_traction",
        "result C1 1 unchanged",
        "add rung C1 microcatheter_to_trap",
        "result C1 2 resolved",
        "set C1.ending out_whole",
        "keep",
    ):
        outcome = apply(outcome.document, words)
        went.append(outcome.focus)
    assert went == [
        "C1.situation",
        "C1.segments",
        "C1.segments",
        "C1.a1.result",
        "add rung C1",
        "C1.a2.result",
        "C1.ending",
        "C1.actions_known",
        "",
    ]
    document = finished(outcome.document)
    assert refusals_of(document) == []
    ladder = ladder_of(document["complications"][0])
    assert [(rung.aim, rung.result, rung.situation_after) for rung in ladder.rungs] == [
        ("free", "unchanged", None),
        ("free", "resolved", CLOSED),
    ]


def test_a_rung_is_added_last_with_its_aim_put_forward_and_opened():
    outcome = after(three_rungs(), "add rung C1 trap_balloon_in_guide")
    rung = outcome.document["complications"][0]["actions"][-1]
    assert (rung["position"], rung["technique"], rung["aim"]) == (4, "trap_balloon_in_guide", "free")
    assert (outcome.focus, outcome.opens) == ("C1.a4.result", "C1.a4")
    assert outcome.said == "Rung 4, Trap with a balloon in the guide, added."


@pytest.mark.parametrize(
    ("technique", "situation", "aim"),
    [
        ("snare_single", "catheter_knotted", "free"),
        ("snare_single", "wire_fractured_in_coronary", "retrieve"),
        ("balloon_beside", "balloon_shaft_fractured_inflated", "retrieve"),
        ("atherectomy_on_fragment", "stent_part_expanded", "secure"),
        ("balloon_tamponade", "covered_stent_not_sealing", "secure"),
        ("balloon_tamponade", "wire_stuck", "treat_injury"),
        ("cut_shaft", "burr_stuck", "prepare"),
        ("snare_single", UNKNOWN, "retrieve"),
        (OTHER, "wire_stuck", None),
    ],
)
def test_the_aim_put_forward_follows_from_whether_the_device_is_joined(
    technique: str, situation: str, aim: str | None
):
    assert aim_for(technique, situation) == aim


def test_of_every_situation_it_is_said_whether_the_device_is_joined():
    classified = [*JOINED, *LOOSE, *STAYS, CLOSED, OTHER, UNKNOWN]
    assert sorted(classified) == sorted(word_list("situation").codes)


def test_techniques_are_suggested_for_the_situation_by_the_aim_that_they_would_have():
    stuck = suggested("wire_stuck")
    assert "microcatheter_to_trap" in stuck["free"]
    assert "retrieve" not in stuck
    assert "snare_multi" in suggested("wire_fractured_in_coronary")["retrieve"]
    assert "echo" in stuck["look"] and "drain_pericardium" in stuck["treat_injury"]
    assert all("any_percutaneous" not in codes for codes in stuck.values())


def test_the_situation_faced_is_that_before_the_rung_and_at_the_end_that_of_the_next():
    complication = three_rungs()["complications"][0]
    assert [faced(complication, key) for key in (1, 2, 3, None)] == [
        "wire_stuck",
        "wire_stuck",
        "wire_unravelled",
        "wire_unravelled",
    ]
    with pytest.raises(Gone):
        faced(complication, 9)


def test_a_rung_that_is_moved_takes_what_stood_after_it_along():
    draft = after(three_rungs(), "decline C1 basket", "injury C1 dissection 2", "after C1.d1 1").document
    moved = after(draft, "move rung C1 1 down")
    assert techniques(moved.document) == ["steady_traction", "vasodilator", "snare_over_wire"]
    assert moved.document["complications"][0]["declined"][0]["after_position"] == 2
    assert moved.document["injuries"][0]["after_position"] == 1
    assert moved.focus == "move rung C1 1 down"
    assert moved.said == "Rung 1, Vasodilator, is now 2 of 3."
    back = after(moved.document, "move rung C1 1 up").document
    assert back == draft


def test_the_first_rung_does_not_move_up():
    outcome = after(three_rungs(), "move rung C1 1 up")
    assert outcome.document == three_rungs()
    assert outcome.said == "Rung 1, Vasodilator, is the first already."


def test_a_rung_is_dropped_at_its_place_and_beyond_the_end_it_is_last():
    assert techniques(after(three_rungs(), "place rung C1 3 1").document)[0] == "snare_over_wire"
    assert techniques(after(three_rungs(), "place rung C1 1 99").document)[-1] == "vasodilator"


def test_what_stood_after_a_removed_rung_stands_after_the_one_before_and_focus_is_on_its_neighbour():
    draft = after(
        three_rungs(), "injury C1 dissection 2", "injury C1 no_reflow 3", "injury C1 shock 0"
    ).document
    outcome = after(draft, "remove rung C1 2")
    assert techniques(outcome.document) == ["vasodilator", "snare_over_wire"]
    assert [injury["after_position"] for injury in outcome.document["injuries"]] == [1, 2, 0]
    assert (outcome.focus, outcome.said) == ("C1.a3", "Rung 2, Steady pull, removed.")


def test_another_complication_follows_the_rung_that_caused_it():
    draft = after(three_rungs(), "add complication", "caused C2 C1 2").document
    assert draft["complications"][1]["after_position"] == 2
    assert after(draft, "place rung C1 2 1").document["complications"][1]["after_position"] == 1


def test_a_removed_rung_s_key_is_never_given_again():
    draft = after(three_rungs(), "remove rung C1 3", "add rung C1 basket").document
    assert [action["_key"] for action in draft["complications"][0]["actions"]] == [1, 2, 4]
    with pytest.raises(Gone):
        apply(draft, "remove rung C1 3")


def test_the_last_rung_removed_leaves_the_list_not_recorded_and_none_is_said_by_itself():
    draft = after(three_rungs(), *(f"remove rung C1 {key}" for key in (1, 2, 3))).document
    assert "actions" not in draft["complications"][0]
    assert after(draft, "none C1.actions").document["complications"][0]["actions"] == []


def test_none_is_refused_where_something_is_recorded():
    with pytest.raises(Refused, match="removed first"):
        apply(three_rungs(), "none C1.actions")


def test_resolved_closes_and_another_result_opens_again():
    closed = after(three_rungs(), "result C1 3 resolved")
    assert closed.document["complications"][0]["actions"][2]["situation_after"] == CLOSED
    assert closed.focus == "C1.ending"
    partly = after(closed.document, "result C1 3 partly")
    assert "situation_after" not in partly.document["complications"][0]["actions"][2]
    assert (partly.focus, partly.opens) == ("C1.a3.situation_after", "C1.a3")


def test_made_worse_asks_for_the_new_situation_and_unchanged_for_the_next_rung():
    assert after(three_rungs(), "result C1 1 worse").focus == "C1.a1.situation_after"
    assert after(three_rungs(), "result C1 1 unchanged").focus == "add rung C1"


def test_a_treated_injury_is_resolved_without_closing_the_complication():
    draft = after(three_rungs(), "add rung C1 drain_pericardium", "result C1 4 resolved").document
    assert "situation_after" not in draft["complications"][0]["actions"][3]


def test_a_result_that_the_aim_cannot_have_is_refused_and_another_aim_drops_it():
    with pytest.raises(Refused, match="no result of a rung with the aim look"):
        after(three_rungs(), "add rung C1 echo", "result C1 4 resolved")
    rung = after(three_rungs(), "result C1 3 resolved", "set C1.a3.aim look").document["complications"][0]
    assert "result" not in rung["actions"][2]


def test_only_a_resolved_act_or_a_look_closes():
    with pytest.raises(Refused, match="closes the complication"):
        apply(three_rungs(), "set C1.a1.situation_after closed")
    looked = after(three_rungs(), "add rung C1 came_out_with_other", "set C1.a4.situation_after closed")
    assert faced(looked.document["complications"][0]) == CLOSED


def test_another_technique_keeps_an_aim_that_it_may_serve_and_else_gets_its_own():
    draft = after(three_rungs(), "set C1.a3.technique snare_single").document
    assert draft["complications"][0]["actions"][2]["aim"] == "retrieve"
    echo = after(draft, "set C1.a3.technique echo").document["complications"][0]["actions"][2]
    assert echo["aim"] == "look" and "result" not in echo


def test_a_declined_option_stands_after_the_last_rung_and_asks_for_its_reason():
    outcome = after(three_rungs(), "decline C1 snare_multi")
    (declined,) = outcome.document["complications"][0]["declined"]
    assert (declined["technique"], declined["after_position"]) == ("snare_multi", 3)
    assert (outcome.focus, outcome.opens) == ("C1.d1.reason", "C1.d1")
    assert "declined" not in after(outcome.document, "remove declined C1 1").document["complications"][0]


def test_an_injury_names_the_complication_that_it_followed():
    draft = after(begun(BLANK), "injury C1 tamponade").document
    (injury,) = draft["injuries"]
    assert (injury["caused_by"], draft["complications"][0]["ref"], injury["ref"]) == ("C1", "C1", "I1")


def test_removing_an_injury_leaves_nobody_treating_it():
    draft = after(
        three_rungs(), "injury C1 tamponade", "treats C1.a3 I1", "decline C1 fat", "treats C1.d1 I1"
    )
    assert draft.document["complications"][0]["actions"][2]["treats"] == "I1"
    left = after(draft.document, "remove injury 1").document["complications"][0]
    assert "treats" not in left["actions"][2] and "treats" not in left["declined"][0]


def test_removing_a_complication_takes_the_references_to_it_along():
    draft = after(three_rungs(), "add complication", "caused C2 C1 1", "injury C1 shock").document
    left = after(draft, "remove complication 1").document
    assert [thing.get("caused_by") for thing in (*left["complications"], *left["injuries"])] == [None, None]
    assert "after_position" not in left["injuries"][0]
    with pytest.raises(Refused, match="at least one complication"):
        apply(left, "remove complication 2")


def test_removing_a_lesion_leaves_no_complication_in_it():
    draft = after(three_rungs(), "add lesion", "set C1.lesion L1").document
    assert draft["complications"][0]["lesion"] == "L1"
    assert "lesion" not in after(draft, "remove lesion 1").document["complications"][0]


def test_a_position_without_a_cause_is_of_no_complication_that_is_named_later():
    draft = after(three_rungs(), "add complication").document
    del draft["complications"][0]["ref"]
    draft["complications"][1]["after_position"] = 2
    assert "after_position" not in apply(draft, "caused C2 C1").document["complications"][1]


def test_a_complication_is_not_caused_by_what_it_caused():
    draft = after(three_rungs(), "add complication", "caused C2 C1").document
    with pytest.raises(Refused, match="caused itself"):
        apply(draft, "caused C1 C2")
    assert "caused_by" not in after(draft, "caused C2 none").document["complications"][1]


def test_another_cause_forgets_the_rung_of_the_former():
    draft = after(three_rungs(), "add complication", "injury C1 shock 2", "caused I1 C2").document
    assert "after_position" not in draft["injuries"][0]


def test_a_segment_is_chosen_and_chosen_away():
    once = after(begun(BLANK), "segment C1 9", "segment C1 7").document
    assert once["complications"][0]["segments"] == ["9", "7"]
    assert "segments" not in after(once, "segment C1 9", "segment C1 7").document["complications"][0]


@pytest.mark.parametrize(
    ("words", "path"),
    [
        ("add lesion", "L1.segments"),
        ("add content L1 old_stent", "L1.content1.post_dilated"),
        ("add device C1.a1 balloon_semi_compliant", "C1.a1.device1.model"),
        ("add other_device C1", "C1.other_device1.model"),
        ("add staff", "procedure.staff1.person"),
        ("add drug clopidogrel", "antiplatelet_plan.drug1.dose_mg"),
        ("add duty tell_patient", "duty1.owner"),
        ("add follow_up", "follow_up1.date"),
        ("add in_hospital stroke", "outcome.in_hospital1.day"),
        ("fragment C1", "C1.f1.part"),
    ],
)
def test_any_list_gets_a_row_and_its_first_open_field_is_asked_for(words: str, path: str):
    draft = three_rungs(lesions=[{"ref": "L1"}])
    outcome = apply(after(draft, "remove lesion 1").document if words == "add lesion" else draft, words)
    assert outcome.focus == path.replace("L1.s", "L2.s")
    assert outcome.opens is not None
    where = outcome.opens.rpartition(".")
    noun = words.split()[1] if words.startswith("add") else "fragment"
    place = [] if noun in ("lesion", "staff", "drug", "duty", "follow_up", "in_hospital") else [where[0]]
    key = outcome.opens[-1]
    again = apply(outcome.document, " ".join(["remove", noun, *place, key])).document
    assert finished(again).get("complications") == finished(draft)["complications"]


def test_a_single_object_is_made_when_needed_and_goes_when_it_says_nothing():
    draft = after(begun(BLANK), "set outcome.death.cause cardiac").document
    assert draft["outcome"] == {"death": {"cause": "cardiac"}}
    assert "outcome" not in after(draft, "unset outcome.death.cause").document


@pytest.mark.parametrize(("typed", "stored"), [("2,5", "2.5"), ("?", UNKNOWN), ("12", "12"), ("0.50", "0.5")])
def test_numbers_are_taken_as_they_are_written(typed: str, stored: str):
    assert (
        str(
            after(three_rungs(), f"set C1.a1.minutes {typed}").document["complications"][0]["actions"][0][
                "minutes"
            ]
        )
        == stored
    )


@pytest.mark.parametrize(
    "words",
    [
        "fly",
        "set C1.situation",
        "set C1.situation wire_lost_in_thought",
        "set C1.situation closed",
        "set C1.colour red",
        "set C1.ref C7",
        "set C1.a1.position 3",
        "set C1.note hello",
        "set C1.a1.minutes 4x",
        "set procedure.date 2026-02-30",
        "set C1.lesion L9",
        "set C9.situation wire_stuck",
        "result C1 9 resolved",
        "result C1 1 done",
        "add rung C1 any_percutaneous",
        "add rung L1 echo",
        "add rung",
        "add cat",
        "add injury shock",
        "add device C1",
        "move rung C1 1 sideways",
        "place rung C1 1 first",
        "remove rung C1",
        "remove duty 1",
        "none C1.situation",
        "none complications",
        "toggle C1.situation wire_stuck",
        "segment procedure 9",
        "treats C1.a1 C1",
        "caused C1 C1",
        "after C1 1",
        "unset complications",
        "unset C1.ref",
        "keep going",
    ],
)
def test_what_cannot_be_done_is_refused_in_words_and_changes_nothing(words: str):
    draft = three_rungs()
    with pytest.raises(Refused) as refused:
        apply(draft, words)
    assert str(refused.value).endswith(".")
    assert draft == three_rungs()
