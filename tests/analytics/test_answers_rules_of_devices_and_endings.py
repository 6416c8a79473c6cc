"""The rules' table of expected values as `answers devices`, `answers endings` and the curve show it.

Each test named `test_e…` is one line of that table; what only a ladder shows of it is tested with the ladder.
"""

from __future__ import annotations

import pytest
from pytest import approx

from analytics import summaries
from analytics.answers import Curve
from analytics.cohorts import Filters
from tests.analytics.builders import (
    EVERYTHING,
    cases_of,
    catalogue,
    left_out,
    picked,
    printed,
    take,
    uses,
)
from tests.builders import Document, a_case, a_ladder
from tests.commands import command

pytestmark = [pytest.mark.data, pytest.mark.django_db, pytest.mark.usefixtures("north")]

STUCK, FRACTURED = "wire_stuck", "wire_fractured_in_coronary"


def curve() -> Curve:
    return summaries.curve(EVERYTHING, Filters())


def tried(times: int, ending: str, result: str = "unchanged", **more: object) -> Document:
    """A stuck wire with so many attempts by different techniques, the last with this result."""
    techniques = ["steady_traction", "balloon_beside", "microcatheter_to_trap"][:times]
    results = ["unchanged"] * (times - 1) + [result]
    acts = [f"{technique}={found}" for technique, found in zip(techniques, results, strict=False)]
    return a_ladder(f"{STUCK}: {', '.join(acts)}", ending=ending, **more)


def a_model(model: str, device_class: str = "guidewire") -> Document:
    return {"model": model, "class": device_class}


def test_e8_a_snare_that_sticks_is_a_second_complication_of_the_same_case() -> None:
    wire = a_ladder(
        f"{FRACTURED}: snare_single=unchanged, forceps=resolved", ref="C1", device=a_model("WIRE")
    )
    snare = a_ladder(
        "snare_stuck: push_and_turn=resolved",
        ref="C2",
        caused_by="C1",
        after_position=1,
        device=a_model("SNARE", "snare_single_loop"),
    )
    take(a_case(wire, snare))
    uses("north,WIRE,2026-03,10", "north,SNARE,2026-03,10")
    assert picked("devices", "device_model,events,secondary_events") == ["SNARE,0,1", "WIRE,1,0"]
    assert picked("endings", "situation,complications") == ["snare_stuck,1", "wire_fractured_in_coronary,1"]
    assert picked("techniques", "technique,cases,complications") == [
        "forceps,1,1",
        "push_and_turn,1,1",
        "snare_single,1,1",
    ]


def test_e9_competing_endings_by_attempt() -> None:
    take(
        *cases_of(
            tried(1, "out_whole", "resolved"),
            tried(2, "out_whole", "resolved"),
            tried(2, "held_behind_stent"),
            tried(1, "died_before_end"),
            tried(1, "transferred_open"),
        )
    )
    found = curve().incidence
    assert found.at_risk.tolist() == [5, 2]
    shares = {cause: share[-1] for cause, share in found.incidence.items()}
    assert shares == approx({"out": 0.5, "secured": 0.3, "died": 0.2})


def test_e10_events_count_only_where_uses_are_recorded() -> None:
    wire = a_ladder(f"{STUCK}:", device=a_model("W"))
    months = ["2026-01", "2026-02", "2026-02"]
    take(*(a_case(wire, id=f"N-{n}", procedure={"date": month}) for n, month in enumerate(months)))
    uses("north,W,2026-01,400", "north,W,2026-03,600")
    (row,) = printed("devices")
    *counts, rate, lower, upper = row.split(",")
    assert counts == ["W", "guidewire", "1", "0", "1000", "2"]
    assert rate == "1.000000"
    # Garwood, Biometrika 1936: one event, 0.02532 to 5.57164.
    assert (float(lower), float(upper)) == approx((0.02532, 5.57164), abs=5e-6)
    assert left_out("devices") == [
        "2 events left out: no denominator, the uses of that site and month are not recorded"
    ]


@pytest.mark.parametrize(
    ("recorded", "secondary", "row", "to_mend"),
    [
        ("north,W,2026-03,0", False, "W,guidewire,0,0,0,1,,,", 1),
        ("north,OTHER,2026-03,9", False, "W,guidewire,0,0,0,1,,,", 0),
        ("north,W,2026-03,3", True, "W,guidewire,0,1,3,0,,,", 0),
    ],
    ids=["no uses are recorded as 0", "the month has no row", "a secondary event only"],
)
def test_e19_what_has_no_denominator_has_no_rate(
    recorded: str, secondary: bool, row: str, to_mend: int
) -> None:
    catalogue("Maker,OTHER,Other,guidewire")
    wire = a_ladder(f"{STUCK}:", ref="C2", device=a_model("W"))
    first = a_ladder("device_lost:", ref="C1", device={"class": "guidewire"})
    take(a_case(first, {**wire, "caused_by": "C1"}) if secondary else a_case(wire))
    uses(recorded)
    assert [line for line in printed("devices") if line.startswith("W,")] == [row]
    mending = [line for line in command("answers", "devices").err.splitlines() if line.startswith("to mend")]
    assert len(mending) == to_mend


def test_e19_an_error_to_mend_names_site_month_and_model() -> None:
    take(a_case(a_ladder(f"{STUCK}:", device=a_model("W"))))
    uses("north,W,2026-03,0")
    assert command("answers", "devices").err.splitlines()[:2] == [
        "1 event left out: fewer uses than events in that site and month, an error to mend",
        "to mend: north 2026-03, W: uses recorded 0, events 1",
    ]


def test_e20_an_unknown_ending_is_left_out_and_counted() -> None:
    take(
        *cases_of(
            tried(1, "out_whole", "resolved"),
            tried(1, "unknown"),
            tried(2, "out_whole", "resolved"),
            tried(2, "left_in_place"),
        )
    )
    found = curve()
    assert found.incidence.at_risk.tolist() == [3, 2]
    assert found.incidence.incidence["left"][-1] == approx(1 / 3)
    assert [str(one) for one in found.left_out] == ["1 complication left out: the ending is unknown or other"]
    assert picked("endings", "out,left,left_out,attempted") == ["2,1,1,3"]


def test_e21_no_attempt_at_all_has_its_event_at_attempt_0() -> None:
    take(*cases_of(tried(0, "left_in_place"), tried(1, "out_whole", "resolved")))
    found = curve().incidence
    assert found.attempts.tolist() == [0, 1]
    assert found.at_risk.tolist() == [2, 1]
    assert found.incidence["left"].tolist() == approx([0.5, 0.5])
    assert found.incidence["out"].tolist() == approx([0, 0.5])


def test_e25_what_came_out_with_another_is_out_without_an_attempt() -> None:
    wire = a_ladder(f"{FRACTURED}: snare_single=resolved", ref="A")
    snare = a_ladder(
        "snare_fractured: came_out_with_other=done>closed",
        ref="B",
        caused_by="A",
        device={"class": "snare_unspecified"},
    )
    take(a_case(wire, snare))
    endings = [tuple(map(int, row.split(","))) for row in picked("endings", "out,attempted,left_out")]
    assert tuple(map(sum, zip(*endings, strict=True))) == (2, 1, 0)
    assert printed("techniques") == [
        "snare_single,wire_fractured_in_coronary,retrieve,1,1,0,0,0,0,0,0,0,0,1,1,1,0.206549,1.000000"
    ]
    found = curve()
    assert found.incidence.at_risk.tolist() == [1]
    assert found.incidence.incidence["out"].tolist() == [1.0]
    assert [one.count for one in found.left_out] == [1]


def test_e26_a_fate_found_elsewhere_is_amended_and_counted_nowhere_twice() -> None:
    acts = f"{FRACTURED}: snare_single=unchanged, transfer_out=done"
    take(a_case(a_ladder(acts, ending="transferred_open")))
    before = printed("endings")
    take(a_case(a_ladder(acts, ending="out_whole", ended={"where": "elsewhere"})), amend="its fate is known")
    assert printed("endings") == before
    assert picked("endings", "complications,out,transferred_open,attempted") == ["1,0,1,0"]
    found = curve().incidence
    assert found.at_risk.tolist() == [1]
    assert dict(found.incidence) == {}


def test_e31_seven_stuck_wires() -> None:
    elsewhere, later = {"where": "elsewhere"}, {"where": "later_procedure"}
    absent = a_ladder(f"{STUCK}:")
    del absent["actions"]
    take(
        *cases_of(
            tried(1, "out_at_surgery", ended=elsewhere),
            tried(1, "ground_away"),
            tried(1, "lost_place_unknown"),
            tried(1, "out_whole", ended=later),
            tried(0, "accepted_as_is"),
            absent,
            a_ladder(f"{STUCK}: magnified_fluoroscopy=done, steady_traction=resolved"),
        )
    )
    (row,) = printed("endings")
    assert row.startswith("wire_stuck,6,1,1,2,1,1,0,1,1,4,1,")
    found = curve()
    assert found.incidence.attempts.tolist() == [0, 1]
    assert found.incidence.at_risk.tolist() == [6, 5]
    assert found.incidence.incidence["left"].tolist() == approx([1 / 6, 2 / 6])
    assert [str(one) for one in found.left_out] == ["1 complication left out: the actions are not recorded"]


def test_e33_one_model_and_everything_that_can_be_wrong_with_an_event() -> None:
    wire = a_ladder(f"{STUCK}:", device=a_model("W"))
    elsewhere = {**wire, "began": {"where": "elsewhere"}}
    dated = ["2026-01-05", "2026-01-15", "2026-01", "2026-02", "2026"]
    later = [
        a_case(elsewhere, id="L-1", procedure={"date": "2026-02-10"}),
        a_case(wire, id="L-2", procedure={"date": "2026-02-11", "kind": "none_found_later"}),
    ]
    take(*(a_case(wire, id=f"N-{n}", procedure={"date": date}) for n, date in enumerate(dated)), *later)
    uses("north,W,2026-01,2", "north,W,2026-02,10")
    (row,) = printed("devices")
    assert row.startswith("W,guidewire,1,0,10,4,100.000000,")
    assert [line for line in command("answers", "devices").err.splitlines() if "to mend: " in line] == [
        "to mend: north 2026-01, W: uses recorded 2, events 3"
    ]
    assert left_out("devices") == [
        "1 event left out: no month, the date is known to the year only",
        "3 events left out: fewer uses than events in that site and month, an error to mend",
    ]
