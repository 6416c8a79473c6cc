"""What within one complication is refused, what is only asked about, and what passes without a word (R3, R8)."""

from __future__ import annotations

import pytest

from registry.contradictions import contradictions
from registry.findings import Finding
from registry.ladder import COUNTED_AIMS
from registry.terms import Aim, Result
from registry.vocabulary import word_list
from tests.builders import Document, a_ladder

FRACTURED = "wire_fractured_in_coronary"


def found(complication: Document) -> list[Finding]:
    """All findings of one complication."""
    return list(contradictions(complication))


def refused(complication: Document) -> list[tuple[str, object]]:
    """Paths and values of what is refused."""
    return [(finding.path, finding.value) for finding in found(complication) if finding.refused]


def asked(complication: Document) -> list[tuple[str, object]]:
    """Paths and values of what is asked about; nothing may be refused."""
    assert not refused(complication)
    return [(finding.path, finding.value) for finding in found(complication)]


RESCUE = ["resolved", "partly", "unchanged", "worse", "not_delivered", "stopped_for_safety", "unknown"]
OTHER_ACTS = ["done", "partly", "worse", "not_delivered", "stopped_for_safety", "unknown"]
ALLOWED = {
    **dict.fromkeys(["free", "retrieve", "secure", "treat_injury"], RESCUE),
    **dict.fromkeys(["look", "prepare", "support", "leave", "hand_over"], OTHER_ACTS),
}


def test_every_aim_has_its_results() -> None:
    assert set(ALLOWED) == set(Aim)
    assert set(RESCUE) | set(OTHER_ACTS) == set(Result)


@pytest.mark.parametrize("result", list(Result))
@pytest.mark.parametrize("aim", list(Aim))
def test_an_aim_has_only_its_own_results(aim: str, result: str) -> None:
    complication = a_ladder(f"wire_stuck: unknown/{aim}={result}", ending="unknown")
    if result in ALLOWED[aim]:
        assert not refused(complication)
    else:
        assert refused(complication) == [("actions[0].result", result)]
        assert all(code in found(complication)[0].allowed for code in ALLOWED[aim])


@pytest.mark.parametrize("aim", ["unknown", "other"])
@pytest.mark.parametrize("result", list(Result))
def test_an_aim_that_is_not_known_may_have_any_result(aim: str, result: str) -> None:
    assert not found(a_ladder(f"wire_stuck: unknown/{aim}={result}", ending="unknown"))


@pytest.mark.parametrize("aim", list(Aim))
def test_a_result_that_is_not_recorded_contradicts_nothing(aim: str) -> None:
    assert not found(a_ladder(f"wire_stuck: unknown/{aim}", ending="unknown"))


@pytest.mark.parametrize("after", [None, "wire_unravelled", "unknown", "wire_stuck"])
@pytest.mark.parametrize("aim", sorted(COUNTED_AIMS))
def test_resolved_needs_a_closed_situation_and_partly_is_offered(aim: str, after: str | None) -> None:
    complication = a_ladder(f"wire_stuck: unknown/{aim}=resolved")
    complication["actions"][0]["situation_after"] = after
    assert refused(complication) == [("actions[0].situation_after", after)]
    assert "partly" in found(complication)[0].allowed


@pytest.mark.parametrize("aim", sorted(COUNTED_AIMS))
def test_a_resolved_rescue_closes(aim: str) -> None:
    assert not refused(a_ladder(f"wire_stuck: unknown/{aim}=resolved>closed"))


@pytest.mark.parametrize("result", [result for result in RESCUE if result != "resolved"])
def test_a_rescue_that_did_not_resolve_closes_nothing(result: str) -> None:
    assert refused(a_ladder(f"wire_stuck: steady_traction={result}>closed")) == [
        ("actions[0].situation_after", "closed")
    ]


@pytest.mark.parametrize(
    "aim", ["prepare", "treat_injury", "support", "leave", "hand_over", "unknown", "other"]
)
def test_neither_leaving_nor_any_other_aim_closes(aim: str) -> None:
    complication = a_ladder(f"wire_stuck: unknown/{aim}=partly>closed", ending="left_in_place")
    assert refused(complication) == [("actions[0].situation_after", "closed")]


@pytest.mark.parametrize("result", ["=done", "=unknown", ""])
def test_a_look_that_finds_it_over_closes(result: str) -> None:
    assert not found(a_ladder(f"wire_stuck: angiography{result}>closed"))


def test_a_rescue_of_what_is_closed_is_refused() -> None:
    complication = a_ladder("wire_stuck: steady_traction=resolved, snare_single=unchanged")
    assert refused(complication) == [("actions[1].aim", "retrieve")]


def test_a_rescue_of_what_is_closed_is_refused_even_after_acts_of_other_aims() -> None:
    complication = a_ladder(
        "wire_stuck: steady_traction=resolved, echo=done, fluids=done, snare_single=unchanged"
    )
    assert refused(complication) == [("actions[3].aim", "retrieve")]


@pytest.mark.parametrize("again", ["wire_stuck", "wire_fragment_embolised", "unknown"])
def test_a_rescue_after_the_situation_is_named_again_is_accepted(again: str) -> None:
    assert not refused(
        a_ladder(f"wire_stuck: steady_traction=resolved, ct_scan=done>{again}, snare_single=partly")
    )


def test_acts_of_other_aims_may_follow_what_is_closed() -> None:
    assert not refused(
        a_ladder("wire_stuck: steady_traction=resolved, echo=done, drain_pericardium=resolved")
    )


def test_paths_follow_the_array_and_not_the_positions() -> None:
    complication = a_ladder("wire_stuck: steady_traction=resolved, snare_single=unchanged")
    complication["actions"].reverse()
    assert refused(complication) == [("actions[0].aim", "retrieve")]


def test_unchanged_with_another_situation_is_asked_about() -> None:
    assert asked(a_ladder("wire_stuck: steady_traction=unchanged>wire_unravelled", ending="unknown")) == [
        ("actions[0].situation_after", "wire_unravelled")
    ]


@pytest.mark.parametrize("after", ["", ">wire_stuck"])
def test_unchanged_with_the_same_situation_is_not_asked_about(after: str) -> None:
    assert not found(a_ladder(f"wire_stuck: steady_traction=unchanged{after}", ending="unknown"))


@pytest.mark.parametrize("after", ["", ">wire_stuck"])
def test_worse_with_neither_situation_nor_note_is_asked_about(after: str) -> None:
    complication = a_ladder(f"wire_stuck: steady_traction=worse{after}", ending="unknown")
    assert asked(complication) == [("actions[0].situation_after", None)]


def test_worse_with_a_new_situation_or_a_note_is_not_asked_about() -> None:
    assert not found(a_ladder("wire_stuck: steady_traction=worse>wire_unravelled", ending="unknown"))
    noted = a_ladder("wire_stuck: steady_traction=worse", ending="unknown")
    noted["actions"][0]["note"] = "the guide was sucked in deeper"
    assert not found(noted)


def with_pieces(ending: str, *states: str | None) -> Document:
    """A wire that broke, with an ending and fragments in these states."""
    return a_ladder(f"{FRACTURED}:", ending=ending, fragments=[{"state": state} for state in states])


@pytest.mark.parametrize("ending", ["out_whole", "out_in_pieces", "used_on", "replaced", "out_at_surgery"])
@pytest.mark.parametrize(
    "state", ["free", "held", "wedged", "tethered", "in_occluded_branch", "outside_heart"]
)
def test_an_ending_by_which_nothing_stays_is_asked_about_where_a_fragment_does(
    ending: str, state: str
) -> None:
    assert asked(with_pieces(ending, "out", state)) == [("ending", ending)]


@pytest.mark.parametrize("ending", ["part_out_rest_left", "left_in_place", "lost_place_unknown"])
@pytest.mark.parametrize("states", [(), ("out",)])
def test_an_ending_by_which_something_was_left_is_asked_about_without_its_fragment(
    ending: str, states: tuple[str, ...]
) -> None:
    assert asked(with_pieces(ending, *states)) == [("ending", ending)]


@pytest.mark.parametrize("ending", ["part_out_rest_held", "held_behind_stent"])
@pytest.mark.parametrize("states", [(), ("out",), ("free",), ("held", "free"), ("out", "wedged")])
def test_an_ending_by_which_it_is_held_is_asked_about_where_no_piece_is_or_one_is_looser(
    ending: str, states: tuple[str, ...]
) -> None:
    assert asked(with_pieces(ending, *states)) == [("ending", ending)]


@pytest.mark.parametrize(
    ("ending", "states"),
    [
        ("out_whole", ()),
        ("out_in_pieces", ("out", "out")),
        ("out_whole", ("unknown",)),
        ("left_in_place", ("free",)),
        ("left_in_place", (None,)),
        ("part_out_rest_left", ("out", "held", "free")),
        ("part_out_rest_held", ("out", "held")),
        ("held_behind_stent", ("unknown",)),
        ("lost_place_unknown", ("unknown",)),
        ("transferred_open", ("free",)),
        ("unknown", ("free",)),
        ("other", ()),
    ],
)
def test_an_ending_that_agrees_with_its_fragments_is_not_asked_about(
    ending: str, states: tuple[str | None, ...]
) -> None:
    assert not found(with_pieces(ending, *states))


@pytest.mark.parametrize("ending", word_list("ending").codes)
def test_an_absent_list_of_fragments_disagrees_with_nothing(ending: str) -> None:
    assert not found(a_ladder(f"{FRACTURED}:", ending=ending))


@pytest.mark.parametrize("ending", ["held_behind_stent", "left_in_place", "died_before_end"])
def test_an_ending_that_does_not_follow_from_the_last_resolved_act_is_asked_about(ending: str) -> None:
    assert asked(a_ladder(f"{FRACTURED}: snare_single=resolved", ending=ending)) == [("ending", ending)]


def test_an_ending_out_after_something_was_secured_is_asked_about() -> None:
    assert asked(a_ladder(f"{FRACTURED}: stent_over_fragment=resolved")) == [("ending", "out_whole")]


@pytest.mark.parametrize(
    ("line", "ending"),
    [
        ("snare_single=resolved", "out_whole"),
        ("stent_over_fragment=resolved", "held_behind_stent"),
        ("snare_single=unchanged", "left_in_place"),
        ("stent_over_fragment=resolved, cardiac_surgery=done", "out_at_surgery"),
        ("snare_single=resolved", "unknown"),
        ("snare_single=resolved", "other"),
        ("snare_single=resolved, ct_scan=done>wire_fragment_embolised, basket=unchanged", "left_in_place"),
        ("snare_single=unchanged, transfer_out=done", "transferred_open"),
    ],
)
def test_an_ending_that_follows_from_the_acts_is_not_asked_about(line: str, ending: str) -> None:
    assert not found(a_ladder(f"{FRACTURED}: {line}", ending=ending))


def test_a_hand_over_before_the_resolved_act_excuses_nothing() -> None:
    complication = a_ladder(
        f"{FRACTURED}: vascular_surgery=not_delivered, snare_single=resolved", ending="left_in_place"
    )
    assert asked(complication) == [("ending", "left_in_place")]


def test_a_fate_reached_elsewhere_is_not_compared_with_the_acts_here() -> None:
    complication = a_ladder(
        f"{FRACTURED}: snare_single=resolved", ending="left_in_place", ended={"where": "elsewhere"}
    )
    assert not found(complication)


def test_wrong_positions_are_told_as_such() -> None:
    with pytest.raises(ValueError, match="stands twice"):
        found({"situation": "wire_stuck", "ending": "unknown", "actions": [{"position": 1}, {"position": 1}]})
