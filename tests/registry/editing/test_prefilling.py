"""Devices and minute put forward with a rung: only what its technique says, or what follows from the rung before."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from registry.editing import apply, begun, finished
from registry.editing.prefilling import devices_for, minute_after
from registry.terms import OTHER, UNKNOWN
from registry.vocabulary import word_list
from tests.builders import Document, a_case, a_ladder


def after(*operations: str, ladder: str = "wire_fractured_in_coronary: echo=done", **first: Any) -> Document:
    """A rung with some fields, then operations; the last rung as the document has it."""
    draft = begun(a_case(a_ladder(ladder)))
    draft["complications"][0]["actions"][0] |= first
    for operation in operations:
        draft = apply(draft, operation).document
    rung: Document = finished(draft)["complications"][0]["actions"][-1]
    return rung


def test_a_technique_that_names_its_device_brings_that_class_along():
    assert after("add rung C1 snare_single")["devices"] == [{"class": "snare_single_loop"}]
    assert after("add rung C1 guide_extension_capture")["devices"] == [{"class": "guide_extension"}]


def test_a_technique_that_leaves_its_device_open_brings_none():
    for technique in ("steady_traction", "microcatheter_to_trap", "aspiration_capture", OTHER, UNKNOWN):
        assert devices_for(technique) == ()
        assert "devices" not in after(f"add rung C1 {technique}")
    assert "devices" not in after("add rung C1")


def test_a_device_that_a_technique_names_is_a_class_of_the_list_and_stands_in_its_words():
    classes, words_of_family = word_list("device_class"), {"guidewire": "wire", "support_pump": "pump"}
    for code, term in word_list("technique").terms.items():
        for named in devices_for(code):
            family = str(classes[named].properties["family"])
            word = words_of_family.get(family, family.replace("_", " "))
            assert word in f"{term.label} {term.definition}".lower().replace(
                "imaging from", "imaging catheter"
            ), code


def test_another_technique_brings_its_own_device_instead():
    rung = after("add rung C1 snare_single", "set C1.a2.technique basket")
    assert rung["devices"] == [{"class": "basket"}]
    assert "devices" not in after("add rung C1 snare_single", "set C1.a2.technique steady_traction")
    named = after("add rung C1", "set C1.a2.technique snare_multi")
    assert named["devices"] == [{"class": "snare_multi_loop"}]


def test_what_somebody_said_of_a_device_stays_with_another_technique():
    rung = after(
        "add rung C1 snare_single", "set C1.a2.device1.diameter_mm 10", "set C1.a2.technique snare_multi"
    )
    assert rung["devices"] == [{"class": "snare_single_loop", "diameter_mm": 10}]
    none = after(
        "add rung C1 snare_single",
        "remove device C1.a2 1",
        "none C1.a2.devices",
        "set C1.a2.technique basket",
    )
    assert none["devices"] == []


def test_a_rung_begins_where_the_one_before_it_ended():
    assert after("add rung C1 basket", at_minute=4, minutes=5)["at_minute"] == 9
    assert after("add rung C1", at_minute=Decimal("4.5"), minutes=Decimal("0.5"))["at_minute"] == 5
    assert after("add rung C1 basket", at_minute=-3, minutes=2)["at_minute"] == -1


@pytest.mark.parametrize(
    "before",
    [
        {},
        {"at_minute": 4},
        {"minutes": 5},
        {"at_minute": 4, "minutes": UNKNOWN},
        {"at_minute": UNKNOWN, "minutes": 5},
        {"at_minute": 4, "minutes": 5, "day": 1},
        {"at_minute": 999_999, "minutes": 5},
    ],
)
def test_where_the_one_before_it_ended_is_not_known_no_minute_is_put_forward(before: Document):
    assert minute_after(before) is None
    assert "at_minute" not in after("add rung C1 basket", **before)


def test_the_first_rung_begins_at_no_minute_of_itself():
    draft = begun(a_case(a_ladder("wire_stuck:")))
    rung = apply(draft, "add rung C1 steady_traction").document["complications"][0]["actions"][0]
    assert "at_minute" not in rung
