"""The allow-list of fields that a browser may keep on the device, against the field policy and the kinds of fields."""

from __future__ import annotations

import pytest

from registry import field_kinds as kinds
from registry.case_fields import walk
from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.rules import Treatment
from registry.editing.places import begun, sub_places
from registry.forms.local_copy import may_stay_on_the_device, policy_path
from registry.forms.showing import FieldShown, shown
from tests.fixtures.test_cases import case

EXAMPLE = begun(case("every_property"))
FIELDS = [field for place in sub_places(EXAMPLE) for field in shown(EXAMPLE, place.name)]
KINDS = dict(walk())


def path(field: FieldShown) -> str:
    place, _, name = field.name.rpartition(".")
    return policy_path(place, name)


def test_every_field_of_the_form_has_a_rule_in_the_policy():
    assert len(FIELDS) > 200
    assert [field.name for field in FIELDS if path(field) not in DOCUMENT] == []


def test_only_what_leaves_as_it_is_recorded_may_stay_on_the_device():
    allowed = [field for field in FIELDS if field.local]
    assert {DOCUMENT[path(field)].treatment for field in allowed} == {Treatment.KEEP}


def test_only_words_of_a_list_and_numbers_may_stay_on_the_device():
    allowed = {type(KINDS[path(field)]) for field in FIELDS if field.local}
    assert allowed == {
        kinds.Number,
        kinds.Code,
        kinds.Grade,
        kinds.YesNo,
        kinds.Medina,
        kinds.Position,
        kinds.List,
    }
    lists = [KINDS[path(field)] for field in FIELDS if field.local and field.kind == "choices"]
    assert {type(listed.item) for listed in lists if isinstance(listed, kinds.List)} == {kinds.Code}


@pytest.mark.parametrize(
    ("place", "field", "control"),
    [
        ("patient", "age", "number"),
        ("patient", "local_reference", "line"),
        ("procedure", "date", "date"),
        ("procedure", "started_at", "clock"),
        ("procedure.staff1", "role", "choice"),
        ("procedure.staff1", "person", "line"),
        ("C1.device", "lot", "line"),
        ("C1.device", "serial", "line"),
        ("C1.device", "model", "line"),
        ("C1.a7", "minutes", "number"),
        ("C1.a7", "treats", "choice"),
        ("C1.a7", "note", "lines"),
        ("case", "narrative", "lines"),
        ("nowhere", "age", "number"),
    ],
)
def test_what_could_point_at_somebody_never_stays(place: str, field: str, control: str):
    assert not may_stay_on_the_device(place, field, control)


@pytest.mark.parametrize(
    ("place", "field", "control"),
    [
        ("patient", "sex", "choice"),
        ("C1.device", "diameter_mm", "number"),
        ("C1.a7", "adjuncts", "choices"),
        ("L2.content1", "expansion", "choice"),
        ("antiplatelet_plan.drug3", "dose_mg", "number"),
        ("outcome.in_hospital1", "event", "choice"),
    ],
)
def test_a_coded_field_or_a_measure_may_stay(place: str, field: str, control: str):
    assert may_stay_on_the_device(place, field, control)
