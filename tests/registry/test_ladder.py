"""The counting rules on whole ladders: situation faced, attempts, tries, what was declined, what is refused.

Each test named `test_e…` is one line of the rules' table of expected values; what only pages and commands can show of
it is tested there.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.case_ladders import counted_complications
from registry.ladder import Attempt, ladder_of
from registry.terms import Cause
from registry.vocabulary import word_list
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


def test_e11_considered_is_tried_or_declined_and_each_complication_counts_once() -> None:
    decline = [{"technique": "snare_single", "reason": "kept_in_reserve", "after_position": 0}]
    tried = a_ladder("wire_stuck: snare_single/free=unchanged", ending="left_in_place")
    wires = [
        *[tried] * 2,
        tried | {"declined": decline},
        *[a_ladder("wire_stuck: steady_traction=resolved", declined=decline)] * 3,
        *[a_ladder("wire_stuck: steady_traction=resolved")] * 4,
    ]
    counted = counted_complications(a_case(*wires))
    tries = [any(_snares(rung) for rung in one.ladder.rungs) for one in counted]
    declines = [[option for option in one.declined if not option.also_tried] for one in counted]
    assert sum(tries) == 3
    assert sum(bool(one.declined) for one in counted) == 4
    assert sum(bool(options) for options in declines) == 3
    assert sum(tried or bool(one.declined) for tried, one in zip(tries, counted, strict=True)) == 6


def _snares(rung: Any) -> bool:
    return rung.technique == "snare_single"


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


def test_e22_whether_a_declined_technique_was_tried_later() -> None:
    def declined(line: str, after: int | None) -> tuple[str | None, bool | None]:
        option = {"technique": "snare_single", "reason": "time", "after_position": after}
        (found,) = ladder_of(a_ladder(line, declined=[option])).declined
        return found.faced, found.later_tried

    second = "wire_stuck: steady_traction=unchanged, snare_single/free=unchanged"
    first = "wire_stuck: snare_single/free=unchanged, steady_traction=unchanged"
    assert declined(second, 0) == ("wire_stuck", True)
    assert declined(first, 2) == ("wire_stuck", False)
    assert declined(second, None) == ("unknown", None)


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


def test_e32_treating_an_injury_is_considered_for_the_injury() -> None:
    ladder = a_ladder(
        "wire_stuck: drain_pericardium=resolved, steady_traction=worse>wire_unravelled",
        declined=[{"technique": "snare_over_wire", "reason": "time", "after_position": 2}],
        ending="left_in_place",
    )
    ladder["actions"][0]["treats"] = "I1"
    document = a_case(ladder, injuries=[{"ref": "I1", "kind": "tamponade"}])
    (counted,) = counted_complications(document)
    assert dict(counted.considered_for) == {1: "tamponade", 2: "wire_stuck"}
    (option,) = counted.declined
    assert (option.considered_for, option.also_tried) == ("wire_unravelled", False)
    assert len(counted.attempts) == 1
    assert counted.acts_known


@pytest.mark.parametrize("changes", [{"status": "short"}, {"status": "unknown"}])
def test_e32_a_short_record_is_left_out_of_the_figures_of_techniques(changes: Document) -> None:
    (counted,) = counted_complications(a_case(a_ladder("wire_stuck: steady_traction=resolved"), **changes))
    assert (counted.acts_known, counted.in_curve, counted.began_here) == (False, False, True)


@pytest.mark.parametrize("known", ["some", "none", "unknown", "other"])
def test_e27_acts_that_are_not_all_known_are_left_out_even_where_some_are_there(known: str) -> None:
    complete = a_ladder("wire_stuck: steady_traction=resolved")
    partial = a_ladder("wire_stuck: steady_traction=unchanged", actions_known=known)
    counted = counted_complications(a_case(complete, partial))
    assert [one.acts_known for one in counted] == [True, False]
    assert [one.began_here for one in counted] == [True, True]


def test_e33_what_began_elsewhere_or_without_a_procedure_is_in_no_device_rate() -> None:
    ladder = a_ladder("wire_stuck:", began={"where": "elsewhere"})
    assert not counted_complications(a_case(ladder))[0].began_here
    found_later = {"date": "2026-03-14", "kind": "none_found_later"}
    assert not counted_complications(a_case(procedure=found_later))[0].began_here
    assert counted_complications(a_case(a_ladder("wire_stuck:", began={"where": "here"})))[0].began_here


def test_every_ending_but_unknown_and_other_has_a_cause() -> None:
    """R10 names every code of the list."""
    without = [
        code
        for code in word_list("ending").codes
        if ladder_of(a_ladder("wire_stuck:", ending=code)).cause is None
    ]
    assert without == ["other", "unknown"]


@pytest.mark.parametrize(
    ("positions", "says"),
    [
        ([1, 1], "the position 1 stands twice; positions are 1 to 2, each once"),
        ([1, 3], "there is no position 2; positions are 1 to 2, without a gap"),
        ([0, 1], "there is no position 2"),
        ([2, 3], "there is no position 1"),
        ([1, None], r"actions\[1\].position: every action needs a whole number from 1"),
        ([1, "unknown"], r"actions\[1\].position"),
        ([True, 2], r"actions\[0\].position"),
        ([1, Decimal("1.5")], r"actions\[1\].position"),
    ],
)
def test_positions_are_1_to_n_each_once(positions: list[Any], says: str) -> None:
    actions = [{"position": position} for position in positions]
    with pytest.raises(ValueError, match=says):
        ladder_of({"situation": "wire_stuck", "actions": actions})


def test_a_position_may_be_written_as_1_0() -> None:
    assert (
        ladder_of({"situation": "wire_stuck", "actions": [{"position": Decimal("1.0")}]}).rungs[0].position
        == 1
    )


def test_minutes_are_the_exact_sum_of_those_known() -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=unchanged, steady_traction=unchanged, steady_traction=partly"
    )
    for action, minutes in zip(ladder["actions"], [Decimal("0.1"), Decimal("0.2"), "unknown"], strict=True):
        action["minutes"] = minutes
    assert [attempt.minutes for attempt in ladder_of(ladder).attempts] == [Decimal("0.3")]


_codes = {
    name: st.none() | st.sampled_from(word_list(name).codes)
    for name in ("technique", "aim", "result", "situation", "ending", "actions_known", "ended_where")
}
_acts = st.lists(
    st.fixed_dictionaries(
        {
            "technique": _codes["technique"],
            "aim": _codes["aim"],
            "result": _codes["result"],
            "situation_after": _codes["situation"],
            "minutes": st.none() | st.just("unknown") | st.integers(0, 600),
        }
    ),
    max_size=8,
)


@st.composite
def complications(draw: st.DrawFn) -> Document:
    """Any complication built from codes, its positions right and in any array order."""
    acts = [{"position": number, **act} for number, act in enumerate(draw(_acts), start=1)]
    return {
        "situation": draw(_codes["situation"]),
        "ending": draw(_codes["ending"]),
        "actions_known": draw(_codes["actions_known"]),
        "ended": draw(st.none() | st.fixed_dictionaries({"where": _codes["ended_where"]})),
        "actions": draw(st.permutations(acts)),
    }


@given(complications())
def test_every_counted_act_is_a_try_of_exactly_one_attempt(complication: Document) -> None:
    ladder = ladder_of(complication)
    counted = [rung.position for rung in ladder.rungs if rung.aim in ("free", "retrieve", "secure")]
    assert sorted(position for attempt in ladder.attempts for position in attempt.positions) == counted
    assert [one.attempt_in_complication for one in ladder.attempts] == list(
        range(1, len(ladder.attempts) + 1)
    )
    for attempt in ladder.attempts:
        rungs = [ladder.rungs[position - 1] for position in attempt.positions]
        assert {(one.technique, one.aim, one.faced) for one in rungs} == {_key(attempt)}
        assert attempt.result == rungs[-1].result


def _key(attempt: Attempt) -> tuple[str | None, str, str | None]:
    return attempt.technique, attempt.aim, attempt.faced


@given(complications())
def test_attempts_are_numbered_within_each_situation_without_a_gap(complication: Document) -> None:
    numbers: dict[str | None, list[int]] = {}
    for attempt in ladder_of(complication).attempts:
        numbers.setdefault(attempt.faced, []).append(attempt.attempt_in_situation)
    assert all(found == list(range(1, len(found) + 1)) for found in numbers.values())


@given(
    complications(),
    st.lists(st.sampled_from([None, "unknown", 0, 1, 2, 3, -1, True, Decimal("0.5")]), max_size=4),
)
def test_nothing_but_wrong_positions_is_refused_by_the_reading(
    complication: Document, wrong: list[Any]
) -> None:
    for action, position in zip(complication["actions"], wrong, strict=False):
        action["position"] = position
    positions = [action["position"] for action in complication["actions"]]
    right = not any(isinstance(one, bool) for one in positions) and sorted(
        one for one in positions if isinstance(one, int)
    ) == list(range(1, len(positions) + 1))
    try:
        ladder_of(complication)
    except ValueError:
        assert not right
    else:
        assert right
