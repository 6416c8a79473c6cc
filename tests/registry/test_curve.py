"""How complications leave the curve by attempt (rule R10): causes from the ladder, shares from the statistics."""

from __future__ import annotations

import pytest
from pytest import approx

from analytics.statistics.sequences import CumulativeIncidence, cumulative_incidence
from registry.case_ladders import counted_complications
from registry.ladder import ladder_of
from registry.terms import Cause
from tests.builders import Document, a_case, a_ladder, refusals_of


def curve(*complications: Document) -> CumulativeIncidence:
    """The curve of those that have a place in it."""
    counted = [one for one in counted_complications(a_case(*complications)) if one.in_curve]
    causes = [one.ladder.cause for one in counted]
    return cumulative_incidence(
        [len(one.attempts) for one in counted],
        [None if cause == Cause.CENSORED else cause for cause in causes],
    )


def tried(times: int, ending: str, result: str = "unchanged", **more: object) -> Document:
    """A stuck wire with so many attempts by different techniques."""
    techniques = ["steady_traction", "balloon_beside", "microcatheter_to_trap"][:times]
    acts = ", ".join(f"{technique}=unchanged" for technique in techniques[: times - 1])
    last = f"{techniques[-1]}={result}" if techniques else ""
    return a_ladder(f"wire_stuck: {acts + ', ' if acts else ''}{last}", ending=ending, **more)


def test_e9_competing_endings_by_attempt() -> None:
    found = curve(
        tried(1, "out_whole", "resolved"),
        tried(2, "out_whole", "resolved"),
        tried(2, "held_behind_stent"),
        tried(1, "died_before_end"),
        tried(1, "transferred_open"),
    )
    assert found.attempts.tolist() == [1, 2]
    assert found.at_risk.tolist() == [5, 2]
    assert found.incidence[Cause.OUT][-1] == approx(0.5)
    assert found.incidence[Cause.SECURED][-1] == approx(0.3)
    assert found.incidence[Cause.DIED][-1] == approx(0.2)


def test_e20_an_unknown_ending_is_left_out_of_the_curve() -> None:
    found = curve(
        tried(1, "out_whole", "resolved"),
        tried(1, "unknown"),
        tried(2, "out_whole", "resolved"),
        tried(2, "left_in_place"),
    )
    assert found.at_risk.tolist() == [3, 2]
    assert found.incidence[Cause.LEFT][-1] == approx(1 / 3)


def test_e21_no_attempt_at_all_has_its_event_at_attempt_0() -> None:
    found = curve(tried(0, "left_in_place"), tried(1, "out_whole", "resolved"))
    assert found.attempts.tolist() == [0, 1]
    assert found.at_risk.tolist() == [2, 1]
    assert found.incidence[Cause.LEFT].tolist() == approx([0.5, 0.5])
    assert found.incidence[Cause.OUT].tolist() == approx([0, 0.5])


def test_e25_what_came_out_with_another_is_out_but_has_no_place_in_the_curve() -> None:
    wire = a_ladder("wire_fractured_in_coronary: snare_single=resolved", ref="A")
    snare = a_ladder(
        "snare_fractured: came_out_with_other=done>closed",
        caused_by="A",
        device={"class": "snare_unspecified"},
    )
    assert not refusals_of(a_case(wire, snare))
    assert [one.ladder.cause for one in counted_complications(a_case(wire, snare))] == [Cause.OUT, Cause.OUT]
    assert ladder_of(snare).attempts == ()
    assert not ladder_of(snare).in_curve
    found = curve(wire, snare)
    assert found.at_risk.tolist() == [1]
    assert found.incidence[Cause.OUT].tolist() == [1.0]


def test_closed_with_another_after_an_attempt_of_its_own_stays_in_the_curve() -> None:
    snare = a_ladder("snare_stuck: push_and_turn=unchanged, came_out_with_other=done>closed")
    assert ladder_of(snare).in_curve


@pytest.mark.parametrize("where", ["elsewhere", "later_procedure", "unknown", "other"])
@pytest.mark.parametrize(
    ("ending", "cause"),
    [
        ("out_whole", Cause.CENSORED),
        ("died_before_end", Cause.CENSORED),
        ("out_at_surgery", Cause.SURGERY),
        ("part_out_at_surgery", Cause.SURGERY),
        ("transferred_open", Cause.CENSORED),
        ("unknown", None),
        ("other", None),
    ],
)
def test_e26_a_fate_reached_elsewhere_is_censored_unless_it_is_surgery(
    where: str, ending: str, cause: Cause | None
) -> None:
    ladder = a_ladder(
        "wire_fractured_in_coronary: snare_single=unchanged, transfer_out=done",
        ending=ending,
        ended={"where": where},
    )
    assert ladder_of(ladder).cause == cause
    assert ladder_of(ladder).in_curve is (cause is not None)


@pytest.mark.parametrize("ended", [None, {}, {"where": None}, {"where": "here"}])
def test_no_place_of_ending_reads_as_here(ended: Document | None) -> None:
    assert ladder_of(tried(1, "out_whole", ended=ended)).cause == Cause.OUT


def test_e31_causes_and_curve_of_seven_stuck_wires() -> None:
    elsewhere, later = {"where": "elsewhere"}, {"where": "later_procedure"}
    absent = a_ladder("wire_stuck:")
    del absent["actions"]
    wires = [
        tried(1, "out_at_surgery", ended=elsewhere),
        tried(1, "ground_away"),
        tried(1, "lost_place_unknown"),
        tried(1, "out_whole", ended=later),
        tried(0, "accepted_as_is"),
        absent,
        a_ladder("wire_stuck: magnified_fluoroscopy=done, steady_traction=resolved"),
    ]
    assert [ladder_of(wire).cause for wire in wires] == [
        Cause.SURGERY,
        Cause.SECURED,
        Cause.LEFT,
        Cause.CENSORED,
        Cause.LEFT,
        Cause.OUT,
        Cause.OUT,
    ]
    assert [ladder_of(wire).in_curve for wire in wires] == [True] * 5 + [False, True]
    found = curve(*wires)
    assert found.attempts.tolist() == [0, 1]
    assert found.at_risk.tolist() == [6, 5]
    assert found.incidence[Cause.LEFT].tolist() == approx([1 / 6, 2 / 6])
