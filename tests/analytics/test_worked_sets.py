"""Published series as worked sets: the margins are printed in journals, the single cases behind them are invented.

A: Eggebrecht et al., Catheter Cardiovasc Interv 2000;51:432 (20 lost stents; tried 14, out 10; small balloon 7 of 10,
forceps or snare 3 of 7; surgery 3; pressed to the wall 2; periphery 2; hand-mounted 12 of 1,147, premounted 8 of
2,919; 2,211 patients). B: Dunning et al., J Interv Cardiol 2002, DOI 10.1111/j.1540-8183.2002.tb01066.x (40 of 11,881:
out 16, surgery 3, deployed elsewhere 7, lost 14 of which 5 at an unknown place). C: Alexandrou et al., J Invasive
Cardiol 2024 (45 devices in 40 cases of 10,719). D: Iturbe et al., J Invasive Cardiol 2012;24:215 (9 lost, tried 7,
out 6, of these 2 at the first attempt). Limits recomputed with SciPy 1.17.
"""

from __future__ import annotations

import pytest
from pytest import approx

from analytics import summaries
from analytics.cohorts import Filters
from tests.analytics.builders import EVERYTHING, left_out, picked, printed, returns, take, uses
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db, pytest.mark.usefixtures("north")]

LOST = "stent_off_balloon_on_wire"
SMALL, SNARE, FORCEPS = "small_balloon_through_stent", "snare_single/retrieve", "forceps/retrieve"
SURGERY = "cardiac_surgery=done"
HELD = [{"part": "whole", "state": "held"}]
EMBOLISED = "stent_embolised: decide_to_leave=done"

# How many hand-mounted and premounted stents, what was done, how it ended, what was left.
SET_A: list[tuple[int, int, str, str, list[Document] | None]] = [
    (5, 2, f"{LOST}: {SMALL}=resolved", "out_whole", None),
    (1, 0, f"{LOST}: {SMALL}=unchanged, {SNARE}=resolved", "out_whole", None),
    (1, 0, f"{LOST}: {SMALL}=unchanged, {FORCEPS}=unchanged, {SURGERY}", "out_at_surgery", None),
    (0, 1, f"{LOST}: {SMALL}=unchanged, {SNARE}=unchanged", "unknown", None),
    (1, 0, f"{LOST}: {SNARE}=resolved", "out_whole", None),
    (0, 1, f"{LOST}: {FORCEPS}=resolved", "out_whole", None),
    (1, 0, f"{LOST}: {SNARE}=unchanged, {SURGERY}", "out_at_surgery", None),
    (0, 1, f"{LOST}: {FORCEPS}=unchanged, {SURGERY}", "out_at_surgery", None),
    (1, 1, f"{LOST}: crush_with_stent=resolved", "crushed_in_place", HELD),
    (1, 1, f"{LOST}:", "unknown", None),
    (1, 0, EMBOLISED, "left_in_place", [{"part": "whole", "state": "outside_heart"}]),
    (0, 1, EMBOLISED, "lost_place_unknown", [{"part": "whole", "state": "unknown"}]),
]
DIED = {"status_at_discharge": "dead"}


def set_a() -> list[Document]:
    cases: list[Document] = []
    for hand, pre, line, ending, fragments in SET_A:
        for model in ["PS-HAND"] * hand + ["PS-PRE"] * pre:
            device = {"class": "stent_bare", "model": model}
            more = {} if fragments is None else {"fragments": fragments}
            lost = a_ladder(line, ref="C1", device=device, ending=ending, **more)
            outcome = {"outcome": DIED} if ending == "out_at_surgery" else {}
            procedure = {"date": f"2026-03-{len(cases) + 1:02}"}
            cases.append(a_case(lost, id=f"PS-{len(cases) + 1:02}", procedure=procedure, **outcome))
    return cases


def test_set_a_techniques() -> None:
    take(*set_a())
    assert printed("techniques") == [
        f"crush_with_stent,{LOST},secure,2,2,0,0,0,0,0,0,0,0,2,2,2,0.342380,1.000000",
        f"forceps,{LOST},retrieve,3,1,0,2,0,0,0,0,0,0,3,1,3,0.061492,0.792340",
        f"small_balloon_through_stent,{LOST},retrieve,10,7,0,3,0,0,0,0,0,0,10,7,10,0.396778,0.892209",
        f"snare_single,{LOST},retrieve,4,2,0,2,0,0,0,0,0,0,4,2,4,0.150039,0.849961",
    ]


def test_set_a_by_attempt_in_the_situation() -> None:
    take(*set_a())
    assert picked("techniques", "technique,attempt_in_situation,resolved,attempts", "--by-attempt") == [
        "crush_with_stent,1,2,2",
        "forceps,1,1,2",
        "forceps,2,0,1",
        "small_balloon_through_stent,1,7,10",
        "snare_single,1,1,2",
        "snare_single,2,1,2",
    ]


def test_set_a_endings() -> None:
    take(*set_a())
    assert printed("endings") == [
        "stent_embolised,2,0,0,2,1,0,0,0,0,0,0,,",
        f"{LOST},18,10,2,0,0,3,0,0,3,15,10,0.417135,0.848237",
    ]
    assert left_out("endings") == ["3 complications left out: the ending is unknown or other"]


def test_set_a_devices() -> None:
    take(*set_a())
    uses("north,PS-HAND,2026-03,1147", "north,PS-PRE,2026-03,2919")
    assert printed("devices") == [
        "PS-HAND,stent_bare,12,0,1147,0,10.462075,5.405907,18.275140",
        "PS-PRE,stent_bare,8,0,2919,0,2.740665,1.183224,5.400202",
    ]


def test_set_a_cases_per_1000_procedures() -> None:
    take(*set_a())
    returns("north,2026-03,2211,all_reported,p-001")
    rate = summaries.procedure_rate(EVERYTHING, Filters())
    assert (rate.cases, rate.procedures) == (20, 2211)
    assert (rate.rate_per_1000, rate.lower, rate.upper) == approx((9.045681, 5.525337, 13.970320), abs=5e-7)


def test_set_a_curve() -> None:
    take(*set_a())
    curve = summaries.curve(EVERYTHING, Filters())
    assert [str(one) for one in curve.left_out] == [
        "3 complications left out: the ending is unknown or other"
    ]
    found = curve.incidence
    assert found.attempts.tolist() == [0, 1, 2]
    assert found.at_risk.tolist() == [17, 15, 2]
    assert found.incidence["left"].tolist() == approx([0.117647] * 3, abs=5e-7)
    assert found.incidence["out"].tolist() == approx([0, 0.529412, 0.588235], abs=5e-7)
    assert found.incidence["secured"].tolist() == approx([0, 0.117647, 0.117647], abs=5e-7)
    assert found.incidence["surgery"].tolist() == approx([0, 0.117647, 0.176471], abs=5e-7)
    assert sum(shares[-1] for shares in found.incidence.values()) == approx(1)


# How many, what was done, how it ended.
SET_B = [
    (16, "snare_single/retrieve=resolved", "out_whole"),
    (3, f"snare_single/retrieve=unchanged, {SURGERY}", "out_at_surgery"),
    (7, "deploy_in_place=resolved", "deployed_in_place"),
    (9, "", "left_in_place"),
    (5, "", "lost_place_unknown"),
]


def set_b() -> list[Document]:
    device = {"class": "stent_bare", "model": "ST-1"}
    lost = [
        a_ladder(f"{LOST}: {acts}", ending=ending, device=device)
        for number, acts, ending in SET_B
        for _ in range(number)
    ]
    return [a_case(one, id=f"D-{number:02}") for number, one in enumerate(lost)]


def test_set_b_endings_and_curve() -> None:
    take(*set_b())
    (row,) = printed("endings")
    assert row.startswith(f"{LOST},40,16,7,14,5,3,0,0,0,26,16,")
    found = summaries.curve(EVERYTHING, Filters()).incidence
    assert found.at_risk.tolist() == [40, 26]
    assert {cause: shares[-1] for cause, shares in found.incidence.items()} == approx(
        {"left": 0.35, "out": 0.40, "secured": 0.175, "surgery": 0.075}
    )
    assert found.incidence["left"][0] == approx(0.35)


# What was lost, of how many pieces an attempt was made and came out, and how many there were.
SET_C = {
    "guidewire": ("wire_fractured_in_coronary", 21, 15, 4),
    "microcatheter_unspecified": ("microcatheter_tip_fractured", 11, 10, 3),
    "stent_unspecified": ("device_lost", 8, 8, 4),
    "balloon_unspecified": ("balloon_fragment_in_coronary", 5, 5, 2),
}


def set_c(*, caused: bool) -> list[Document]:
    lost = []
    for device_class, (situation, number, tried, out) in SET_C.items():
        for which in range(number):
            acts = "" if which >= tried else f"snare_unspecified={'resolved' if which < out else 'unchanged'}"
            ending = "out_whole" if which < out else "left_in_place"
            lost.append(a_ladder(f"{situation}: {acts}", device={"class": device_class}, ending=ending))
    first, second = lost[:40], lost[40:]
    cases = []
    for number, one in enumerate(first, start=1):
        complications = [{**one, "ref": "C1"}]
        if number <= len(second):
            cause = {"caused_by": "C1"} if caused else {}
            complications.append({**second[number - 1], "ref": "C2", **cause})
        cases.append(a_case(*complications, id=f"A-{number:02}"))
    return cases


def test_set_c_cases_are_not_devices() -> None:
    take(*set_c(caused=False))
    returns("north,2026-03,10719,all_reported,p-001")
    assert picked("devices", "device_model,device_class,events_left_out,secondary_events,rate_per_1000") == [
        ",balloon_unspecified,5,0,",
        ",guidewire,21,0,",
        ",microcatheter_unspecified,11,0,",
        ",stent_unspecified,8,0,",
    ]
    rate = summaries.procedure_rate(EVERYTHING, Filters())
    assert (rate.cases, rate.procedures) == (40, 10719)
    assert (rate.rate_per_1000, rate.lower, rate.upper) == approx((3.732, 2.666, 5.082), abs=5e-4)


def test_set_c_with_the_second_devices_caused_by_the_first() -> None:
    take(*set_c(caused=True))
    found = [map(int, row.split(",")) for row in picked("devices", "events_left_out,secondary_events")]
    assert [sum(column) for column in zip(*found, strict=True)] == [40, 5]


@pytest.mark.parametrize("caused", [False, True])
def test_set_c_techniques_are_never_pooled_over_situations(caused: bool) -> None:
    take(*set_c(caused=caused))
    assert picked("techniques", "situation_faced,resolved,attempts") == [
        "balloon_fragment_in_coronary,2,5",
        "device_lost,4,8",
        "microcatheter_tip_fractured,3,10",
        "wire_fractured_in_coronary,4,15",
    ]


def test_set_d_out_by_attempt_number() -> None:
    out_at_once = a_ladder("device_lost: snare_single/retrieve=resolved")
    out_later = a_ladder("device_lost: snare_single/retrieve=unchanged, basket=resolved")
    tried = a_ladder("device_lost: snare_single/retrieve=unchanged", ending="left_in_place")
    untried = a_ladder("device_lost:", ending="left_in_place")
    lost = [out_at_once] * 2 + [out_later] * 4 + [tried] + [untried] * 2
    take(*(a_case(one, id=f"I-{number}") for number, one in enumerate(lost)))
    found = summaries.curve(EVERYTHING, Filters()).incidence
    assert found.at_risk.tolist() == [9, 7, 4]
    assert found.incidence["out"].tolist() == approx([0, 0.222222, 0.666667], abs=5e-7)
    assert found.incidence["left"].tolist() == approx([0.222222, 0.333333, 0.333333], abs=5e-7)
    (row,) = printed("endings")
    assert row.startswith("device_lost,9,6,0,3,0,0,0,0,0,7,6,")
