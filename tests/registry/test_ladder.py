"""The counting rules on whole ladders: situation faced, attempts, tries, what was declined, what is refused.

Each test named `test_e…` is one line of the rules' table of expected values; what only pages and commands can show of
it is tested there.
"""

from __future__ import annotations

from typing import Any

import pytest

from registry.case_ladders import counted_complications
from registry.ladder import ladder_of
from registry.terms import Cause
from tests.builders import Document, a_case, a_ladder, refusals_of

FLUOROSCOPY, IMAGING = "magnified_fluoroscopy=done", "intravascular_imaging=done"


def attempts(complication: Document) -> list[tuple[Any, ...]]:
    """Technique, situation faced, aim, result, tries, and the number in the situation and in the complication."""
    return [
        (
            attempt.technique,
            attempt.faced,
            attempt.aim,
            attempt.result,
            attempt.tries,
            attempt.attempt_in_situation,
            attempt.attempt_in_complication,
        )
        for attempt in ladder_of(complication).attempts
    ]


def with_injury(document: Document, complication: int = 0) -> list[bool]:
    """For each attempt of a complication whether one of its tries has an injury."""
    return [counted.with_injury for counted in counted_complications(document)[complication].attempts]


def harmed(kind: str, after_position: int | None, ref: str = "C1") -> Document:
    """An injury by a complication."""
    return {"kind": kind, "caused_by": ref, "after_position": after_position}


def test_e1_looks_stand_on_the_ladder_and_are_no_attempts() -> None:
    ladder = a_ladder(
        f"wire_stuck: {FLUOROSCOPY}, steady_traction=unchanged, {IMAGING}, microcatheter_to_trap=resolved"
    )
    assert attempts(ladder) == [
        ("steady_traction", "wire_stuck", "free", "unchanged", 1, 1, 1),
        ("microcatheter_to_trap", "wire_stuck", "free", "resolved", 1, 2, 2),
    ]
    assert ladder_of(ladder).attempts[1].positions == (4,)
    assert [rung.attempt_in_complication for rung in ladder_of(ladder).rungs] == [None, 1, None, 2]


def test_e2_each_attempt_is_counted_for_the_situation_that_it_faced() -> None:
    ladder = a_ladder(
        "wire_stuck: balloon_beside=worse>wire_unravelled, trap_balloon_in_guide=partly,"
        "steady_traction=worse>wire_fractured_in_coronary, basket=unchanged, snare_single=resolved"
    )
    fractured = "wire_fractured_in_coronary"
    assert attempts(ladder) == [
        ("balloon_beside", "wire_stuck", "free", "worse", 1, 1, 1),
        ("trap_balloon_in_guide", "wire_unravelled", "retrieve", "partly", 1, 1, 2),
        ("steady_traction", "wire_unravelled", "free", "worse", 1, 2, 3),
        ("basket", fractured, "retrieve", "unchanged", 1, 1, 4),
        ("snare_single", fractured, "retrieve", "resolved", 1, 2, 5),
    ]


def test_e3_what_is_secured_did_not_come_out() -> None:
    ladder = a_ladder(
        "balloon_fragment_in_coronary: forceps=unchanged, stent_over_fragment=resolved",
        ending="held_behind_stent",
    )
    assert attempts(ladder) == [
        ("forceps", "balloon_fragment_in_coronary", "retrieve", "unchanged", 1, 1, 1),
        ("stent_over_fragment", "balloon_fragment_in_coronary", "secure", "resolved", 1, 2, 2),
    ]
    assert ladder_of(ladder).cause == Cause.SECURED


def test_e4_a_look_does_not_break_a_run_and_another_technique_does() -> None:
    looked = a_ladder("wire_fractured_in_coronary: snare_single=unchanged, echo=done, snare_single=resolved")
    twisted = a_ladder(
        "wire_fractured_in_coronary: snare_single=unchanged, wire_twist=unchanged, snare_single=resolved"
    )
    assert [(tries, result) for _, _, _, result, tries, *_ in attempts(looked)] == [(2, "resolved")]
    assert [(technique, result) for technique, _, _, result, *_ in attempts(twisted)] == [
        ("snare_single", "unchanged"),
        ("wire_twist", "unchanged"),
        ("snare_single", "resolved"),
    ]


def test_e5_preparing_acts_and_adjuncts_have_no_rate_of_their_own() -> None:
    ladder = a_ladder(
        "burr_stuck: cut_shaft=done, second_guide=done, guide_extension_traction=resolved",
        device={"class": "rotational_burr"},
    )
    ladder["actions"][2]["adjuncts"] = ["balloon_beside"]
    assert attempts(ladder) == [("guide_extension_traction", "burr_stuck", "free", "resolved", 1, 1, 1)]


@pytest.mark.parametrize(("injuries", "expected"), [([harmed("perforation_main", 1)], [True]), ([], [False])])
def test_e6_resolved_with_an_injury_is_resolved_and_shown_with_it(
    injuries: list[Document], expected: list[bool]
) -> None:
    ladder = a_ladder("balloon_will_not_deflate: overinflate_to_burst=resolved", ref="C1", ending="used_on")
    document = a_case(ladder, injuries=injuries)
    assert [result for _, _, _, result, *_ in attempts(ladder)] == ["resolved"]
    assert with_injury(document) == expected
    assert not refusals_of(document)


def test_e7_leaving_in_place_is_no_attempt() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=stopped_for_safety, decide_to_leave=done", ending="left_in_place"
    )
    assert attempts(ladder) == [("steady_traction", "wire_stuck", "free", "stopped_for_safety", 1, 1, 1)]
    assert not refusals_of(a_case(ladder))


def test_e8_a_snare_that_sticks_is_a_second_complication_of_the_same_case() -> None:
    wire = a_ladder("wire_fractured_in_coronary: snare_single=unchanged, forceps=resolved", ref="C1")
    snare = a_ladder(
        "snare_stuck: push_and_turn=resolved",
        ref="C2",
        caused_by="C1",
        after_position=1,
        device={"class": "snare_single_loop"},
    )
    counted = counted_complications(a_case(wire, snare))
    assert [len(one.attempts) for one in counted] == [2, 1]
    assert [attempt.with_new_complication for attempt in counted[0].attempts] == [True, False]


def test_e12_a_situation_that_returns_begins_a_new_attempt() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=worse>wire_unravelled, magnified_fluoroscopy=done>wire_stuck,"
        "steady_traction=unchanged"
    )
    assert attempts(ladder) == [
        ("steady_traction", "wire_stuck", "free", "worse", 1, 1, 1),
        ("steady_traction", "wire_stuck", "free", "unchanged", 1, 2, 2),
    ]


@pytest.mark.parametrize(("between", "tries"), [("drain_pericardium=resolved", [1, 1]), ("echo=done", [2])])
def test_e13_treating_an_injury_breaks_a_run_and_a_look_does_not(between: str, tries: list[int]) -> None:
    ladder = a_ladder(f"wire_stuck: steady_traction=unchanged, {between}, steady_traction=unchanged")
    assert [attempt.tries for attempt in ladder_of(ladder).attempts] == tries


def test_e14_an_attempt_takes_the_last_result_even_where_it_is_unknown() -> None:
    ladder = a_ladder("wire_stuck: steady_traction=unchanged, steady_traction=unknown")
    assert attempts(ladder) == [("steady_traction", "wire_stuck", "free", "unknown", 2, 1, 1)]


def test_e15_an_unknown_situation_is_a_situation_of_its_own() -> None:
    ladder = a_ladder("wire_stuck: balloon_beside=worse>unknown, snare_single=unchanged")
    assert [faced for _, faced, *_ in attempts(ladder)] == ["wire_stuck", "unknown"]


def test_e16_a_later_look_never_relabels_an_earlier_attempt() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=unchanged, magnified_fluoroscopy=done>wire_fractured_in_coronary,"
        "snare_single=resolved",
        ref="C1",
    )
    assert attempts(ladder) == [
        ("steady_traction", "wire_stuck", "free", "unchanged", 1, 1, 1),
        ("snare_single", "wire_fractured_in_coronary", "retrieve", "resolved", 1, 1, 2),
    ]
    assert with_injury(a_case(ladder, injuries=[harmed("dissection", 3)])) == [False, True]


def test_e17_an_injury_seen_at_a_look_belongs_to_the_act_before_it() -> None:
    ladder = a_ladder(
        "wire_fractured_in_coronary: snare_single=partly, angiography=done, snare_single=resolved", ref="C1"
    )
    assert [attempt.tries for attempt in ladder_of(ladder).attempts] == [2]
    assert with_injury(a_case(ladder, injuries=[harmed("perforation_main", 2)])) == [True]


def test_e18_treating_an_injury_closes_nothing_and_has_no_rate() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=unchanged, drain_pericardium=resolved, snare_single/free=resolved",
        ref="C1",
    )
    document = a_case(ladder, injuries=[harmed("arrhythmia", 2)])
    assert not refusals_of(document)
    assert [technique for technique, *_ in attempts(ladder)] == ["steady_traction", "snare_single"]
    assert with_injury(document) == [False, False]


def test_e23_a_complication_that_is_found_open_again_keeps_what_was_resolved() -> None:
    ladder = a_ladder(
        "wire_fractured_in_coronary: snare_single=resolved, ct_scan=done>wire_fragment_embolised,"
        "snare_single=unchanged",
        ending="left_in_place",
    )
    assert attempts(ladder) == [
        ("snare_single", "wire_fractured_in_coronary", "retrieve", "resolved", 1, 1, 1),
        ("snare_single", "wire_fragment_embolised", "retrieve", "unchanged", 1, 1, 2),
    ]
    assert [attempt.reopened for attempt in ladder_of(ladder).attempts] == [True, False]
    assert not refusals_of(a_case(ladder))


def test_e24_resolved_with_a_new_complication() -> None:
    wire = a_ladder("wire_stuck: microcatheter_to_trap=resolved", ref="C1")
    stent = a_ladder(
        "stent_deformed: redilate_stent=resolved",
        caused_by="C1",
        after_position=1,
        device={"class": "stent_drug_eluting"},
        ending="sealed_in_place",
    )
    (attempt,) = counted_complications(a_case(wire, stent))[0].attempts
    assert (attempt.attempt.result, attempt.with_injury, attempt.with_new_complication) == (
        "resolved",
        False,
        True,
    )
    assert not refusals_of(a_case(wire, stent))


def test_e28_the_array_order_does_not_matter_and_aims_are_never_pooled() -> None:
    ladder = a_ladder(
        "wire_stuck: snare_single/free=unchanged@2, fluids=done, snare_single/free=partly>wire_stuck@unknown,"
        "snare_single/free=unchanged@3, snare_single/retrieve=unchanged, decide_to_leave=done,"
        "snare_single/retrieve=unchanged"
    )
    ladder["actions"].reverse()
    found = ladder_of(ladder).attempts
    assert [(one.aim, one.result, one.tries, one.minutes, one.positions) for one in found] == [
        ("free", "unchanged", 3, 5, (1, 3, 4)),
        ("retrieve", "unchanged", 1, None, (5,)),
        ("retrieve", "unchanged", 1, None, (7,)),
    ]
    assert [one.attempt_in_complication for one in found] == [1, 2, 3]


def test_e29_acts_whose_technique_is_not_known_never_merge() -> None:
    ladder = a_ladder(
        "balloon_stuck: -/free=unchanged, -/free=unknown, cut_shaft=done>balloon_shaft_fractured,"
        "unknown/retrieve=unknown, unknown/retrieve",
        device={"class": "balloon_unspecified"},
    )
    assert attempts(ladder) == [
        (None, "balloon_stuck", "free", "unchanged", 1, 1, 1),
        (None, "balloon_stuck", "free", "unknown", 1, 2, 2),
        ("unknown", "balloon_shaft_fractured", "retrieve", "unknown", 1, 1, 3),
        ("unknown", "balloon_shaft_fractured", "retrieve", "unknown", 1, 2, 4),
    ]


def test_e30_harm_before_the_first_act_or_after_a_preparing_one_belongs_to_no_attempt() -> None:
    ladder = a_ladder(
        "wire_stuck: snare_single/free=unchanged, second_guide=done, snare_single/free=resolved", ref="C1"
    )
    later = a_ladder("stent_deformed:", caused_by="C1", device={"class": "stent_bare"})
    document = a_case(ladder, later, injuries=[harmed("dissection", 0), harmed("dissection", 2)])
    (attempt,) = counted_complications(document)[0].attempts
    assert (attempt.attempt.tries, attempt.with_injury, attempt.with_new_complication) == (2, False, False)


@pytest.mark.parametrize("aim", ["leave", "hand_over", "treat_injury", "unknown", "other", None])
def test_an_act_of_an_aim_that_is_not_look_prepare_or_support_breaks_a_run(aim: str | None) -> None:
    ladder = a_ladder("wire_stuck: steady_traction=unchanged, -/look, steady_traction=unchanged")
    ladder["actions"][1]["aim"] = aim
    assert [attempt.tries for attempt in ladder_of(ladder).attempts] == [1, 1]


@pytest.mark.parametrize("technique", ["-", "unknown", "other"])
def test_two_acts_whose_technique_is_not_named_are_two_attempts(technique: str) -> None:
    ladder = a_ladder(f"wire_stuck: {technique}/free=unchanged, {technique}/free=unchanged")
    assert [attempt.tries for attempt in ladder_of(ladder).attempts] == [1, 1]


def test_numbers_within_a_situation_go_on_when_it_returns() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=worse>wire_unravelled, snare_single=worse>wire_stuck, balloon_beside=unchanged"
    )
    assert [attempt.attempt_in_situation for attempt in ladder_of(ladder).attempts] == [1, 1, 2]


def test_only_the_attempt_that_closed_is_reopened() -> None:
    ladder = a_ladder("wire_stuck: steady_traction=unchanged, snare_single/free=resolved, ct_scan>unknown")
    assert [attempt.reopened for attempt in ladder_of(ladder).attempts] == [False, True]
