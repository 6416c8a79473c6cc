"""The rules' table of expected values as `answers techniques` and `answers considered` show it, after a real import.

Each test named `test_e…` is one line of that table; what only a ladder shows of it is tested with the ladder.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.analytics.builders import (
    cases_of,
    left_out,
    picked,
    printed,
    take,
    uses,
)
from tests.builders import Document, a_case, a_ladder
from tests.commands import as_json, command

pytestmark = [pytest.mark.data, pytest.mark.django_db, pytest.mark.usefixtures("north")]

STUCK, FRACTURED = "wire_stuck", "wire_fractured_in_coronary"
ATTEMPTS = "technique,situation_faced,aim,resolved,attempts"
NUMBERED = "technique,situation_faced,aim,attempt_in_situation,resolved,attempts"


def attempts(*complications: Document, **more: object) -> list[str]:
    """Technique, situation faced, aim, resolved and attempts, with each complication a case of its own."""
    take(*cases_of(*complications, **more))
    return picked("techniques", ATTEMPTS)


def harmed(kind: str, after_position: int) -> Document:
    """An injury by the complication C1."""
    return {"kind": kind, "caused_by": "C1", "after_position": after_position}


def a_model(model: str, device_class: str = "guidewire") -> Document:
    return {"model": model, "class": device_class}


def test_e1_looks_have_no_row_and_do_not_count_as_attempts() -> None:
    take(
        a_case(
            a_ladder(
                f"{STUCK}: magnified_fluoroscopy=done, steady_traction=unchanged, intravascular_imaging=done,"
                "microcatheter_to_trap=resolved"
            )
        )
    )
    assert picked("techniques", NUMBERED, "--by-attempt") == [
        "microcatheter_to_trap,wire_stuck,free,2,1,1",
        "steady_traction,wire_stuck,free,1,0,1",
    ]


def test_e2_each_attempt_counts_where_it_was_made() -> None:
    take(
        a_case(
            a_ladder(
                f"{STUCK}: balloon_beside=worse>wire_unravelled, trap_balloon_in_guide=partly,"
                f"steady_traction=worse>{FRACTURED}, basket=unchanged, snare_single=resolved"
            )
        )
    )
    assert picked("techniques", NUMBERED, "--by-attempt") == [
        "balloon_beside,wire_stuck,free,1,0,1",
        "basket,wire_fractured_in_coronary,retrieve,1,0,1",
        "snare_single,wire_fractured_in_coronary,retrieve,2,1,1",
        "steady_traction,wire_unravelled,free,2,0,1",
        "trap_balloon_in_guide,wire_unravelled,retrieve,1,0,1",
    ]


def test_e3_what_is_secured_did_not_come_out() -> None:
    found = attempts(
        a_ladder(
            "balloon_fragment_in_coronary: forceps=unchanged, stent_over_fragment=resolved",
            device={"class": "balloon_unspecified"},
            ending="held_behind_stent",
        )
    )
    assert found == [
        "forceps,balloon_fragment_in_coronary,retrieve,0,1",
        "stent_over_fragment,balloon_fragment_in_coronary,secure,1,1",
    ]
    assert picked("endings", "out,secured,attempted,out_after_attempt") == ["0,1,1,0"]


def test_e4_a_run_of_tries_is_one_attempt_and_the_same_technique_again_another() -> None:
    looked = a_ladder(f"{FRACTURED}: snare_single=unchanged, echo=done, snare_single=resolved")
    assert attempts(looked) == ["snare_single,wire_fractured_in_coronary,retrieve,1,1"]


def test_e4_attempts_and_complications_are_counted_apart() -> None:
    take(
        a_case(a_ladder(f"{FRACTURED}: snare_single=unchanged, wire_twist=unchanged, snare_single=resolved"))
    )
    columns = "technique,resolved,attempts,complications_resolved,complications"
    assert picked("techniques", columns) == ["snare_single,1,2,1,1", "wire_twist,0,1,0,1"]


def test_e5_preparing_acts_and_adjuncts_are_in_no_rate() -> None:
    ladder = a_ladder(
        "burr_stuck: cut_shaft=done, second_guide=done, guide_extension_traction=resolved",
        device={"class": "rotational_burr"},
    )
    ladder["actions"][2]["adjuncts"] = ["balloon_beside"]
    assert attempts(ladder) == ["guide_extension_traction,burr_stuck,free,1,1"]


def test_e6_resolved_with_an_injury_is_resolved_and_shown_beside() -> None:
    burst = a_ladder(
        "balloon_will_not_deflate: overinflate_to_burst=resolved",
        ref="C1",
        device={"class": "balloon_unspecified"},
        ending="used_on",
    )
    take(a_case(burst, injuries=[harmed("perforation_main", 1)]))
    assert picked("techniques", "resolved,attempts,resolved_with_injury") == ["1,1,1"]


def test_e7_leaving_in_place_has_no_rate() -> None:
    found = attempts(
        a_ladder(f"{STUCK}: steady_traction=stopped_for_safety, decide_to_leave=done", ending="left_in_place")
    )
    assert found == ["steady_traction,wire_stuck,free,0,1"]
    assert picked("techniques", "stopped_for_safety") == ["1"]


def test_two_complications_of_one_case_are_one_case() -> None:
    freed, left = (a_ladder(f"{STUCK}: steady_traction={result}") for result in ("resolved", "unchanged"))
    take(a_case(freed, left))
    assert picked("techniques", "attempts,complications,cases") == ["2,2,1"]


def test_e11_considered_is_tried_or_declined_and_each_complication_counts_once() -> None:
    declined = [{"technique": "snare_single", "reason": "would_lose_wire", "after_position": 0}]
    snared = f"{STUCK}: snare_single/free=unchanged"
    take(
        *cases_of(
            *[a_ladder(snared)] * 2,
            a_ladder(snared, declined=declined),
            *[a_ladder(f"{STUCK}:", declined=declined)] * 3,
            *[a_ladder(f"{STUCK}:")] * 4,
        )
    )
    assert printed("considered") == ["snare_single,wire_stuck,6,3,4,1"]


def test_e12_a_situation_that_returns_begins_a_new_attempt() -> None:
    take(
        a_case(
            a_ladder(
                f"{STUCK}: steady_traction=worse>wire_unravelled, magnified_fluoroscopy=done>{STUCK},"
                "steady_traction=unchanged"
            )
        )
    )
    assert picked("techniques", NUMBERED, "--by-attempt") == [
        "steady_traction,wire_stuck,free,1,0,1",
        "steady_traction,wire_stuck,free,2,0,1",
    ]
    assert picked("techniques", "resolved,attempts,complications") == ["0,2,1"]


@pytest.mark.parametrize(("between", "number"), [("drain_pericardium=resolved", 2), ("echo=done", 1)])
def test_e13_treating_an_injury_breaks_a_run_and_a_look_does_not(between: str, number: int) -> None:
    found = attempts(a_ladder(f"{STUCK}: steady_traction=unchanged, {between}, steady_traction=unchanged"))
    assert found == [f"steady_traction,wire_stuck,free,0,{number}"]


def test_e14_an_attempt_of_unknown_result_has_a_row_and_is_in_no_rate() -> None:
    take(a_case(a_ladder(f"{STUCK}: steady_traction=unchanged, steady_traction=unknown")))
    assert printed("techniques", "--by-attempt") == [
        "steady_traction,wire_stuck,free,1,0,0,0,0,0,0,0,1,0,0,0,0,0,,"
    ]
    assert left_out("techniques") == ["1 attempt left out: the result is unknown"]


def test_e15_an_unknown_situation_is_a_row_of_its_own() -> None:
    found = attempts(a_ladder(f"{STUCK}: balloon_beside=worse>unknown, snare_single=unchanged"))
    assert found == ["balloon_beside,wire_stuck,free,0,1", "snare_single,unknown,retrieve,0,1"]


def test_e16_a_later_look_never_relabels_an_earlier_attempt() -> None:
    ladder = a_ladder(
        f"{STUCK}: steady_traction=unchanged, magnified_fluoroscopy=done>{FRACTURED}, snare_single=resolved",
        ref="C1",
    )
    take(a_case(ladder, injuries=[harmed("dissection", 3)]))
    assert picked("techniques", f"{ATTEMPTS},resolved_with_injury") == [
        "snare_single,wire_fractured_in_coronary,retrieve,1,1,1",
        "steady_traction,wire_stuck,free,0,1,0",
    ]


def test_e17_an_injury_seen_at_a_look_belongs_to_the_act_before_it() -> None:
    ladder = a_ladder(f"{FRACTURED}: snare_single=partly, angiography=done, snare_single=resolved", ref="C1")
    take(a_case(ladder, injuries=[harmed("perforation_main", 2)]))
    assert picked("techniques", "resolved,attempts,resolved_with_injury") == ["1,1,1"]


def test_e18_treating_an_injury_is_in_no_rate_and_keeps_its_own_injuries(tmp_path: Path) -> None:
    ladder = a_ladder(
        f"{STUCK}: steady_traction=unchanged, drain_pericardium=resolved, snare_single/free=resolved",
        ref="C1",
    )
    document = a_case(ladder, injuries=[harmed("arrhythmia", 2)])
    assert command("import_cases", as_json(tmp_path / "case.json", document), "--check").status == 0
    take(document)
    assert picked("techniques", "technique,resolved,attempts,resolved_with_injury") == [
        "snare_single,1,1,0",
        "steady_traction,0,1,0",
    ]


@pytest.mark.parametrize(
    ("acts", "after", "row"),
    [
        ("steady_traction=unchanged, snare_single/free=unchanged", 0, ["snare_single,wire_stuck,1,1,1,1"]),
        ("snare_single/free=unchanged, steady_traction=unchanged", 2, ["snare_single,wire_stuck,1,1,1,0"]),
        (
            "steady_traction=unchanged, snare_single/free=unchanged",
            None,
            ["snare_single,unknown,1,0,1,0", "snare_single,wire_stuck,1,1,0,0"],
        ),
    ],
    ids=["declined before", "declined after", "declined at no known place"],
)
def test_e22_whether_a_declined_technique_was_tried_later(
    acts: str, after: int | None, row: list[str]
) -> None:
    option = {"technique": "snare_single", "reason": "would_lose_wire", "after_position": after}
    take(a_case(a_ladder(f"{STUCK}: {acts}", declined=[option])))
    assert [line for line in printed("considered") if line.startswith("snare")] == row


def test_e23_what_is_found_open_again_keeps_what_was_resolved() -> None:
    found = attempts(
        a_ladder(
            f"{FRACTURED}: snare_single=resolved, ct_scan=done>wire_fragment_embolised, snare_single=unchanged",
            ending="left_in_place",
        )
    )
    assert found == [
        "snare_single,wire_fractured_in_coronary,retrieve,1,1",
        "snare_single,wire_fragment_embolised,retrieve,0,1",
    ]


def test_e24_resolved_with_a_new_complication() -> None:
    wire = a_ladder(f"{STUCK}: microcatheter_to_trap=resolved", ref="C1", device=a_model("WIRE"))
    stent = a_ladder(
        "stent_deformed: redilate_stent=resolved",
        ref="C2",
        caused_by="C1",
        after_position=1,
        device=a_model("STENT", "stent_drug_eluting"),
        ending="sealed_in_place",
    )
    take(a_case(wire, stent))
    uses("north,WIRE,2026-03,10", "north,STENT,2026-03,10")
    columns = "technique,resolved,attempts,resolved_with_injury,resolved_with_new_complication"
    assert picked("techniques", columns) == ["microcatheter_to_trap,1,1,0,1", "redilate_stent,1,1,0,0"]
    assert picked("devices", "device_model,events,secondary_events") == ["STENT,0,1", "WIRE,1,0"]


def test_e27_acts_that_are_not_all_known_are_in_no_figure_of_techniques() -> None:
    acts = f"{STUCK}: steady_traction=unchanged"
    device = {"device": a_model("W")}
    found = attempts(
        a_ladder(f"{STUCK}: steady_traction=resolved", **device),
        a_ladder(acts, actions_known="some", **device),
        a_ladder(acts, actions_known="none", **device),
    )
    assert found == ["steady_traction,wire_stuck,free,1,1"]
    assert left_out("techniques") == [
        "2 complications left out: not all of the actions, or not their order, are known"
    ]
    uses("north,W,2026-03,10")
    assert picked("devices", "events") == ["3"]


def test_e28_the_array_order_does_not_matter_and_aims_are_never_pooled() -> None:
    ladder = a_ladder(
        f"{STUCK}: snare_single/free=unchanged@2, fluids=done, snare_single/free=partly>{STUCK}@unknown,"
        "snare_single/free=unchanged@3, snare_single/retrieve=unchanged, decide_to_leave=done,"
        "snare_single/retrieve=unchanged"
    )
    ladder["actions"].reverse()
    take(a_case(ladder))
    assert picked("techniques", NUMBERED, "--by-attempt") == [
        "snare_single,wire_stuck,free,1,0,1",
        "snare_single,wire_stuck,retrieve,2,0,1",
        "snare_single,wire_stuck,retrieve,3,0,1",
    ]


def test_e29_no_technique_is_an_empty_cell_and_an_unknown_one_a_row_of_its_own() -> None:
    take(
        a_case(
            a_ladder(
                "balloon_stuck: -/free=unchanged, -/free=unknown, cut_shaft=done>balloon_shaft_fractured,"
                "unknown/retrieve=unknown, unknown/retrieve",
                device={"class": "balloon_unspecified"},
            )
        )
    )
    columns = f"{ATTEMPTS},unknown,complications,cases,lower"
    assert picked("techniques", columns) == [
        ",balloon_stuck,free,0,1,1,1,1,0.000000",
        "unknown,balloon_shaft_fractured,retrieve,0,0,2,0,0,",
    ]


def test_e30_harm_before_the_first_act_or_after_a_preparing_one_is_no_attempts() -> None:
    ladder = a_ladder(
        f"{STUCK}: snare_single/free=unchanged, second_guide=done, snare_single/free=resolved", ref="C1"
    )
    later = a_ladder("stent_deformed:", caused_by="C1", device={"class": "stent_bare"})
    take(a_case(ladder, later, injuries=[harmed("dissection", 0), harmed("dissection", 2)]))
    columns = "resolved,attempts,resolved_with_injury,resolved_with_new_complication"
    assert picked("techniques", columns) == ["1,1,0,0"]


def test_e32_treating_an_injury_is_considered_for_the_injury() -> None:
    ladder = a_ladder(
        f"{STUCK}: drain_pericardium=resolved, steady_traction=worse>wire_unravelled",
        declined=[{"technique": "snare_over_wire", "reason": "would_lose_wire", "after_position": 2}],
        ending="left_in_place",
    )
    ladder["actions"][0]["treats"] = "I1"
    injuries = [{"ref": "I1", "kind": "tamponade"}]
    take(
        a_case(ladder, id="N-1", injuries=injuries),
        a_case(ladder, id="N-2", injuries=injuries, status="short"),
        a_case({**ladder, "actions_known": "unknown"}, id="N-3", injuries=injuries),
    )
    assert printed("considered") == [
        "drain_pericardium,tamponade,1,1,0,0",
        "snare_over_wire,wire_unravelled,1,0,1,0",
        "steady_traction,wire_stuck,1,1,0,0",
    ]
    assert picked("techniques", "technique,attempts") == ["steady_traction,1"]
    expected = [
        "1 complication left out: short record, its actions are not abstracted",
        "1 complication left out: not all of the actions, or not their order, are known",
    ]
    assert left_out("techniques") == left_out("considered") == expected
