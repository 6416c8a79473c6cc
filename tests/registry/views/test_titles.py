"""The title of a case, and values of a document in words."""

from __future__ import annotations

from typing import Any

import pytest

from registry.reading.titles import title_in_words, title_of, where_in_words
from registry.reading.words import on_day
from registry.vocabulary import word_list
from tests.builders import a_case, a_ladder


@pytest.mark.parametrize(
    ("situation", "device", "more", "title"),
    [
        ("wire_stuck", "guidewire", {"segments": ["9"]}, "Guidewire stuck in the first diagonal"),
        ("wire_fractured_in_coronary", "guidewire", {"segments": ["7"]},
         "Guidewire fractured in the mid left anterior descending"),
        ("stent_off_balloon_on_wire", "stent_drug_eluting", {"segments": ["2"]},
         "Stent off its balloon in the mid right coronary"),
        ("stent_in_guide_or_sheath", "stent_bare", {"places": ["in_guide"]},
         "Stent loose in the guide or sheath, inside the guide catheter"),
        ("device_lost", "coil", {"segments": ["12a"]},
         "Embolisation coil lost in the heart, in the first obtuse marginal"),
        ("catheter_kinked", "guide_catheter", {"places": ["arm_artery"]},
         "Guide catheter kinked in an artery of the arm"),
        ("burr_detached", "orbital_crown", {"segments": ["1", "2"]},
         "Orbital atherectomy crown detached in the proximal and mid right coronary"),
        ("burr_stuck", "rotational_burr", {"segments": ["6", "7", "8"]},
         "Burr stuck in the proximal and mid left anterior descending and 1 more"),
        ("filter_stuck", "filter", {"places": ["in_graft"]}, "Filter stuck in a bypass graft"),
        ("wire_stuck", "guidewire", {"segments": ["unknown"]}, "Guidewire stuck"),
        ("unknown", "guidewire", {}, "Guidewire, situation not known"),
        ("other", "unknown", {}, "Device not known, other situation"),
    ],
)  # fmt: skip
def test_a_title_says_what_went_wrong_with_which_device_and_where(
    situation: str, device: str, more: dict[str, Any], title: str
) -> None:
    assert title_of(a_case(a_ladder(f"{situation}:", device={"class": device}, **more))) == title


def test_where_a_complication_has_no_place_its_lesion_has_one() -> None:
    lesions = [{"ref": "L1", "segments": ["5"]}, {"ref": "L2", "segments": ["11"]}]
    case = a_case(a_ladder("wire_stuck:", lesion="L2"), lesions=lesions)
    assert title_of(case) == "Guidewire stuck in the proximal circumflex"


def test_further_complications_are_counted() -> None:
    ladder = a_ladder("wire_stuck:")
    assert title_of(a_case(ladder, ladder)) == "Guidewire stuck, and 1 more complication"
    assert title_of(a_case(ladder, ladder, ladder)) == "Guidewire stuck, and 2 more complications"


def test_every_situation_and_every_place_makes_a_title_without_a_code_or_a_number_in_it() -> None:
    for situation in word_list("situation").codes:
        title = title_in_words(situation, "coil", "")
        assert title[0].isupper()
        assert "_" not in title
    for segment in word_list("segment").codes:
        assert "(" not in where_in_words([segment], [])
    for place in word_list("place").codes:
        assert "_" not in where_in_words([], [place])


@pytest.mark.parametrize(
    ("written", "said"),
    [("2026-03-04", "4 Mar 2026"), ("2026-03", "March 2026"), ("2026", "2026"), (None, "")],
)
def test_a_date_is_told_as_far_as_it_is_known(written: str | None, said: str) -> None:
    assert on_day(written) == said
