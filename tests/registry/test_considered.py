"""Which techniques were considered, which complications enter which figures (rules R11 and R12)."""

from __future__ import annotations

import pytest

from registry.case_ladders import counted_complications
from registry.ladder import Rung, ladder_of
from tests.builders import Document, a_case, a_ladder


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


def _snares(rung: Rung) -> bool:
    return rung.technique == "snare_single"


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


@pytest.mark.parametrize(
    ("after", "faced"), [(0, "wire_stuck"), (1, "wire_unravelled"), (2, "wire_unravelled")]
)
def test_a_declined_technique_faces_what_was_faced_after_its_position(after: int, faced: str) -> None:
    ladder = a_ladder(
        "wire_stuck: steady_traction=worse>wire_unravelled, echo=done",
        declined=[{"technique": "forceps", "after_position": after}],
    )
    assert [option.faced for option in ladder_of(ladder).declined] == [faced]


def test_a_technique_declined_for_an_injury_is_not_the_one_tried_on_the_device() -> None:
    injuries = [{"ref": "I1", "kind": "access_artery_injury"}]
    declined = [{"technique": "external_compression", "after_position": 1, "treats": "I1"}]
    for line, tried in (("external_compression/free", False), ("external_compression/treat_injury", True)):
        ladder = a_ladder(f"catheter_knotted: {line}=unchanged", declined=declined)
        if tried:
            ladder["actions"][0]["treats"] = "I1"
        (option,) = counted_complications(a_case(ladder, injuries=injuries))[0].declined
        assert (option.considered_for, option.also_tried) == ("access_artery_injury", tried)
