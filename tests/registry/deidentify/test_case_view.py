"""The de-identified view of a case."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from registry import case_fields as fields
from registry.canonical import read
from registry.case_ladders import counted_complications
from registry.deidentify import case_view
from registry.deidentify.case_view import DeidentifiedCase, deidentified
from registry.deidentify.pseudonyms import Pseudonyms
from registry.documents import completed
from registry.documents.sealed_fields import parted
from registry.ladder import ladder_of
from tests.builders import Document, a_case, a_ladder
from tests.strategies import case_documents

pytestmark = pytest.mark.pure

CASES = Path(__file__).parents[3] / "fixtures" / "cases"
PSEUDONYMS = Pseudonyms(b"k" * 32)


def view_of(document: Document) -> DeidentifiedCase:
    clear, _ = parted(completed(document))
    return deidentified(clear, code="7G4K2M9TX", pseudonyms=PSEUDONYMS)


def invented(name: str) -> Document:
    document: Document = read((CASES / f"{name}.json").read_bytes())
    return document


def values_in(value: Any) -> Iterator[Any]:
    if isinstance(value, Mapping):
        for inner in value.values():
            yield from values_in(inner)
    elif isinstance(value, tuple):
        for item in value:
            yield from values_in(item)
    else:
        yield value


def test_the_five_quasi_identifiers() -> None:
    view = view_of(invented("s3"))
    assert view.quasi_identifiers == (
        PSEUDONYMS.of_site("north"),
        "2026",
        "70 to 79",
        "male",
        "stent_drug_eluting",
    )


def test_what_is_not_recorded_of_a_quasi_identifier_reads_as_unknown() -> None:
    view = view_of(a_case(a_ladder("wire_stuck:")))
    assert (view.age_band, view.sex) == ("unknown", "unknown")


def test_the_pseudonym_stands_for_the_public_code() -> None:
    assert view_of(a_case()).pseudonym == PSEUDONYMS.of_case("7G4K2M9TX")


def test_the_site_leaves_by_its_pseudonym() -> None:
    assert view_of(a_case()).content["site"] == view_of(a_case()).site == PSEUDONYMS.of_site("north")


def test_dates_become_days_and_the_procedures_its_year() -> None:
    plan = {
        "drugs": [{"agent": "clopidogrel", "start": "2026-03-14", "stop": "2027-03"}],
        "review_dates": ["2026-09-14", "2027"],
    }
    seen = {"date": "2026-04-14", "events": [{"event": "death", "date": "2026-04"}]}
    content = view_of(a_case(antiplatelet_plan=plan, follow_up=[seen])).content
    assert content["procedure"] == {"year": 2026}
    assert content["antiplatelet_plan"]["drugs"][0] == {
        "agent": "clopidogrel",
        "start_day": 0,
        "stop_day": "unknown",
    }
    assert content["antiplatelet_plan"]["review_dates_day"] == (184, "unknown")
    assert content["follow_up"][0]["date_day"] == 31
    assert content["follow_up"][0]["events"][0]["date_day"] == "unknown"


def test_refs_are_numbered_by_their_place_and_still_point_at_the_same_object() -> None:
    lesions = [{"ref": "Mr Smith"}, {"ref": "his RCA"}]
    first = a_ladder("wire_stuck: echo=done", ref="bad luck", lesion="his RCA")
    second = a_ladder("wire_stuck:", ref="worse", caused_by="bad luck", after_position=1)
    injuries = [{"ref": "hole", "kind": "perforation", "caused_by": "worse"}]
    first["actions"][0]["treats"] = "hole"
    content = view_of(a_case(first, second, lesions=lesions, injuries=injuries)).content
    assert [lesion["ref"] for lesion in content["lesions"]] == ["L1", "L2"]
    assert [one["ref"] for one in content["complications"]] == ["C1", "C2"]
    assert content["complications"][0]["lesion"] == "L2"
    assert content["complications"][0]["actions"][0]["treats"] == "I1"
    assert content["complications"][1]["caused_by"] == "C1"
    assert content["injuries"][0] == {"ref": "I1", "kind": "perforation", "caused_by": "C2"}


def test_a_device_leaves_with_its_class_and_sizes_alone() -> None:
    device = {
        "class": "guidewire",
        "model": "HAL-W1",
        "lot": "L77",
        "serial": "S9",
        "udi": "(01)09506000134352(21)77",
        "diameter_mm": read("0.36"),
    }
    content = view_of(a_case(a_ladder("wire_stuck:", device=device))).content
    assert set(content["complications"][0]["device"]) == {"class", "diameter_mm"}


def test_of_the_staff_only_roles_leave() -> None:
    act = {"position": 1, "technique": "echo", "aim": "look", "result": "done", "by": "p-017"}
    staff = [{"person": "p-017", "role": "first_operator"}]
    complication = a_ladder("wire_stuck:", actions=[act])
    content = view_of(a_case(complication, procedure={"date": "2026-03-14", "staff": staff})).content
    assert content["procedure"]["staff"] == ({"role": "first_operator"},)
    assert "p-017" not in set(values_in(content))


def test_where_a_complication_began_and_ended_is_kept_without_the_other_case() -> None:
    complication = a_ladder(
        "wire_stuck:",
        began={"where": "earlier_procedure", "case": "N-7"},
        ended={"where": "later_procedure", "case": "N-9"},
    )
    view = view_of(a_case(complication)).content["complications"][0]
    assert (view["began"], view["ended"]) == ({"where": "earlier_procedure"}, {"where": "later_procedure"})


def test_lists_recorded_as_none_and_not_recorded_stay_apart() -> None:
    content = view_of(a_case(a_ladder("wire_stuck:"), injuries=[])).content
    assert content["injuries"] == ()
    assert "lesions" not in content


def test_other_is_kept_without_its_note() -> None:
    complication = a_ladder("other:", note="situation: caught on Mr Smith's pacemaker lead")
    view = view_of(a_case(complication)).content["complications"][0]
    assert view["situation"] == "other"
    assert "note" not in view


def test_the_view_is_frozen_throughout() -> None:
    view = view_of(invented("s1"))
    with pytest.raises(dataclasses.FrozenInstanceError):
        view.year = 1999  # type: ignore[misc]
    with pytest.raises(TypeError):
        view.content["procedure"]["year"] = 1999
    assert not [value for value in values_in(view.content) if isinstance(value, dict | list)]


def test_a_field_that_nobody_classified_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    document = a_case(procedure={"date": "2026-03-14", "kind": "pci"})
    assert view_of(document).content["procedure"]["kind"] == "pci"
    monkeypatch.delitem(case_view.DOCUMENT, "procedure.kind")
    monkeypatch.setattr(case_view, "_CASE", case_view._let_go(fields.CASE))
    assert "kind" not in view_of(document).content["procedure"]


@pytest.mark.parametrize("name", sorted(path.stem for path in CASES.glob("*.json")))
def test_the_ladder_reads_the_same_from_the_view(name: str) -> None:
    """All but the refs, which are numbered anew, and the minutes, which are bands."""
    document = completed(invented(name))
    view = view_of(invented(name))
    for before, after in zip(document["complications"], view.content["complications"], strict=True):
        assert ladder_of(after).rungs == ladder_of(before).rungs
        assert ladder_of(after).cause == ladder_of(before).cause
    for one, other in zip(counted_complications(document), counted_complications(view.content), strict=True):
        assert other.considered_for == one.considered_for
        assert [a.with_injury for a in other.attempts] == [a.with_injury for a in one.attempts]


@settings(suppress_health_check=list(HealthCheck))
@given(case_documents())
def test_no_text_of_any_document_leaves_but_codes_bands_numbers_and_new_names(document: Document) -> None:
    """A typed text may happen to equal a code, so what is compared are the fields, through their absence."""
    _, sealed = parted(completed(document))
    said = {str(value) for value in values_in(view_of(document).content)}
    typed = {text for text in sealed.values() if not text.replace("_", "").isalnum()}
    assert said.isdisjoint(typed - {""})
