"""A case as it is read: pictures, facts, duties, and what stays sealed until somebody is recorded as looking."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from deploy import frame
from fixtures.generate import EIGHT, written_cases
from registry import access
from registry.documents.sealed_fields import parted
from registry.drawings.phrases import lowered
from registry.models import Look, Staff
from registry.recording.cases import submit_case
from registry.recording.erasure import erase_patient
from registry.sealing import NotOpened
from registry.terms import CaseState, Role
from registry.vocabulary import word_list
from tests.builders import a_case, a_ladder
from tests.registry.views.readers import a_person, a_site, body, in_state, recorded_case, signed_in

pytestmark = pytest.mark.django_db

WRITTEN = {str(document["id"]): document for document in written_cases()}
NOTES = {
    "patient": {"age": 71, "local_reference": "NM-451907"},
    "narrative": "Nobody had moved the wire.",
    "antiplatelet_plan": {"drugs": [{"agent": "aspirin"}], "departs_because": "Bleeding at the wrist."},
}
MOST_STATEMENTS = 14
"""Five to come in, five for the case and its names, and two for each of two buttons that not everybody sees."""
SEALED = ("NM-451907", "Nobody had moved the wire.", "Bleeding at the wrist.")


def techniques_of(document: dict[str, Any]) -> set[str]:
    """The codes of all techniques tried in a case."""
    return {
        action["technique"]
        for complication in document["complications"]
        for action in complication.get("actions") or []
        if "technique" in action
    }


@pytest.mark.parametrize("name", EIGHT)
def test_every_written_case_is_shown_with_each_technique_that_was_tried(name: str) -> None:
    document = next(one for one in WRITTEN.values() if str(one["id"]).lower() == name)
    site = a_site(document["site"])
    case = submit_case(document, by=None)
    response = signed_in(Role.PRESENTER, site.code).get(f"/case/{case.code}/")
    assert response.status_code == 200
    text = " ".join(re.sub("<[^>]+>", " ", body(response)).split()).replace("&#x27;", "'").lower()
    codes = techniques_of(document)
    assert codes
    for code in codes:
        label = "technique not known" if code == "unknown" else lowered(word_list("technique")[code].label)
        assert ("other technique" if code == "other" else label.lower()) in text


@pytest.mark.parametrize("name", EIGHT)
def test_no_sealed_text_of_a_written_case_is_on_its_page(name: str) -> None:
    document = next(one for one in WRITTEN.values() if str(one["id"]).lower() == name)
    a_site(document["site"])
    case = submit_case(document, by=None)
    client = signed_in(Role.LAB_DIRECTOR, document["site"])
    _, sealed = parted(document)
    assert sealed
    for address in (
        f"/case/{case.code}/",
        f"/case/{case.code}/versions/",
        "/cases/",
        f"/case/{case.code}/whole/",
    ):
        text = body(client.get(address))
        assert [told for told in sealed.values() if len(told) > 4 and told in text] == []
    assert not Look.objects.exists()


def test_a_case_of_another_site_answers_as_one_that_is_not_there() -> None:
    other = recorded_case(site="harbour")
    client = signed_in(Role.ADMINISTRATOR, "north")
    for way in ("", "whole/", "versions/"):
        closed = client.get(f"/case/{other.code}/{way}")
        missing = client.get(f"/case/7G4K2M9TX/{way}")
        assert closed.status_code == missing.status_code == 404
        assert body(closed) == body(missing)
    assert client.post(f"/case/{other.code}/whole/").status_code == 404
    assert not Look.objects.exists()


def test_a_presenter_may_not_open_names_and_notes_and_sees_no_button() -> None:
    case = recorded_case(**NOTES)
    client = signed_in(Role.PRESENTER)
    assert "this look is recorded" not in body(client.get(f"/case/{case.code}/"))
    for answer in (client.get(f"/case/{case.code}/whole/"), client.post(f"/case/{case.code}/whole/")):
        assert answer.status_code == 403
        assert not any(text in body(answer) for text in SEALED)
    assert not Look.objects.exists()


def test_an_operator_opens_names_and_notes_of_own_cases_only() -> None:
    operator = a_person(Role.OPERATOR)
    own = recorded_case(procedure={"date": "2026-03-14", "staff": [{"person": "p-1"}]}, **NOTES)
    other = recorded_case(id="N-2", **NOTES)
    Staff.objects.filter(code="p-1").update(person=operator)
    client = signed_in(Role.OPERATOR)
    assert client.post(f"/case/{own.code}/whole/").status_code == 200
    assert client.post(f"/case/{other.code}/whole/").status_code == 403


@pytest.mark.parametrize(("role", "offered"), [(Role.ADMINISTRATOR, True), (Role.LAB_DIRECTOR, False)])
def test_changing_a_case_is_offered_to_those_who_may(role: Role, offered: bool) -> None:
    case = recorded_case()
    text = body(signed_in(role).get(f"/case/{case.code}/"))
    assert (f'action="/case/{case.code}/change/"' in text) == offered


def test_changing_a_withdrawn_case_is_not_offered() -> None:
    case = in_state(recorded_case(), CaseState.WITHDRAWN)
    assert "/change/" not in body(signed_in(Role.ADMINISTRATOR).get(f"/case/{case.code}/"))


def test_asking_for_names_and_notes_shows_none_before_the_button_is_pressed() -> None:
    case = recorded_case(**NOTES)
    client = signed_in(Role.LAB_DIRECTOR)
    text = body(client.get(f"/case/{case.code}/whole/"))
    assert "Show names and notes; this look is recorded" in text
    assert not any(sealed in text for sealed in SEALED)
    assert not Look.objects.exists()


def test_names_and_notes_are_shown_and_the_look_is_recorded() -> None:
    case = recorded_case(**NOTES)
    response = signed_in(Role.LAB_DIRECTOR).post(f"/case/{case.code}/whole/")
    text = body(response)
    assert all(sealed in text for sealed in SEALED)
    assert "Antiplatelet plan, reason to depart from usual practice" in text
    assert response["Cache-Control"] == "no-store"
    look = Look.objects.get()
    assert (look.case, look.who) == (case.code, a_person(Role.LAB_DIRECTOR).code)


def test_the_look_is_recorded_before_anything_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    case = recorded_case(**NOTES)

    def refused(*anything: object) -> dict[str, str]:
        raise NotOpened("by another key")

    monkeypatch.setattr(access, "unseal", refused)
    response = signed_in(Role.LAB_DIRECTOR).post(f"/case/{case.code}/whole/")
    assert response.status_code == 200
    assert "cannot be opened with the keys of this registry" in body(response)
    assert Look.objects.count() == 1


@pytest.mark.parametrize(
    ("state", "word"), [(CaseState.WITHDRAWN, "withdrawn, counts nowhere"), (CaseState.LOCKED, "locked")]
)
def test_a_withdrawn_or_locked_case_says_so_beside_a_shape(state: CaseState, word: str) -> None:
    case = in_state(recorded_case(), state)
    assert f"</svg> {word}" in body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/"))


@pytest.mark.data
@pytest.mark.django_db(transaction=True)
def test_an_erased_case_says_that_names_and_notes_were_erased(settings: Any, tmp_path: Path) -> None:
    settings.ERASURES_FILE = str(tmp_path / "erasures.jsonl")
    case = recorded_case(**NOTES)
    erase_patient("north", "N-1")
    client = signed_in(Role.LAB_DIRECTOR)
    text = body(client.get(f"/case/{case.code}/"))
    assert "Identifying fields and notes were erased." in text
    assert "this look is recorded" not in text
    assert "Identifying fields and notes were erased." in body(client.post(f"/case/{case.code}/whole/"))
    assert not Look.objects.exists()
    compared = body(client.get(f"/case/{case.code}/versions/?from=1&to=2"))
    assert "Names and notes cannot be compared" in compared


def test_a_decided_duty_is_told_as_a_decision_and_not_as_a_determination() -> None:
    duties = [
        {
            "kind": "report_regulator",
            "owner": "p-102",
            "due": "2026-04-01",
            "done": "2026-03-20",
            "decided": "not_owed",
        },
        {"kind": "report_maker", "owner": "p-102", "due": "2026-04-01", "decided": "not_owed"},
        {"kind": "keep_device", "due": "2026-03-14", "decided": "undecided"},
    ]
    case = recorded_case(duties=duties)
    text = unbroken(body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/")))
    assert "Not owed: decided by p-102 on 20 Mar 2026; not a determination of this registry." in text
    assert "Not owed: decided by p-102, day not recorded; not a determination" in text
    assert "owner nobody yet" in text
    assert re.search(r"</svg> \d+ days late", text)


def unbroken(text: str) -> str:
    """The page without the marks that keep a code in one line."""
    return re.sub(r'<span class="kept-whole">(.*?)</span>', r"\1", text)


def test_a_code_is_kept_in_one_line() -> None:
    case = recorded_case(duties=[{"kind": "keep_device", "owner": "p-102", "due": "2026-03-14"}])
    text = body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/"))
    assert 'owner <span class="kept-whole">p-102</span>' in text


def test_the_plan_is_told_with_its_dates_and_reasons() -> None:
    drug = {
        "agent": "clopidogrel",
        "dose_mg": 75,
        "start": "2026-03-14",
        "stop": "2027-03",
        "do_not_stop_before": "2026-09-14",
    }
    plan = {
        "drugs": [drug, {"agent": "aspirin", "lifelong": "yes"}],
        "reasons": ["new_stent"],
        "patient_told": "no",
    }
    case = recorded_case(antiplatelet_plan=plan)
    text = body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/"))
    assert "75 mg, from 14 Mar 2026 to March 2027, not to be stopped before 14 Sep 2026" in text
    assert "<dt>Aspirin</dt><dd>Lifelong</dd>" in text
    assert "<dt>Because</dt><dd>New stent</dd>" in text
    assert "<dt>Patient</dt><dd>Not told yet</dd>" in text


def test_a_lot_number_and_a_staff_code_stand_as_they_were_written() -> None:
    ladder = a_ladder("wire_stuck:", device={"class": "guidewire", "lot": "h3-0O"})
    case = recorded_case(ladder, procedure={"date": "2026-03-14", "staff": [{"person": "op-a"}]})
    text = unbroken(body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/")))
    assert "<dt>Lot</dt><dd>h3-0O</dd>" in text
    assert "<dt>Staff</dt><dd>op-a</dd>" in text


def test_what_a_record_does_not_hold_takes_no_line() -> None:
    case = recorded_case()
    text = body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/"))
    assert "Antiplatelet plan" not in text
    assert "No duty is recorded." in text


def test_versions_are_listed_with_who_and_what() -> None:
    operator = a_person(Role.OPERATOR)
    a_site("north")
    case = submit_case(a_case(), by=operator)
    in_state(case, CaseState.LOCKED)
    text = " ".join(re.sub("<[^>]+>", " ", body(signed_in(Role.OPERATOR).get(f"/case/{case.code}/"))).split())
    assert re.search(r"2 \d+ \w+ \d{4}, \d\d:\d\d Locked, from the command line", text)
    assert re.search(r"1 \d+ \w+ \d{4}, \d\d:\d\d Submitted, The operator of north", text)


def test_a_case_takes_few_statements_beside_those_of_the_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    document = WRITTEN["S1"]
    a_site(document["site"])
    case = submit_case(document, by=None)
    client: Client = signed_in(Role.LAB_DIRECTOR, document["site"])
    monkeypatch.setattr(frame, "_places", lambda request: [])
    client.get(f"/case/{case.code}/")
    with CaptureQueriesContext(connection) as taken:
        client.get(f"/case/{case.code}/")
    assert len(taken) <= MOST_STATEMENTS


@pytest.mark.parametrize("code", ["%00", "%27", "a%20b", "%F0%9F%98%80", "x" * 300, "..%2f"])
def test_an_address_that_can_be_no_code_answers_that_nothing_is_there(code: str) -> None:
    client = signed_in(Role.OPERATOR)
    for way in ("", "whole/", "versions/"):
        assert client.get(f"/case/{code}/{way}").status_code == 404
