"""Logging a case without a script: whole pages, every choice a button; what a press does, what survives an error."""

from __future__ import annotations

import datetime
import re

import pytest
from django.test import Client

from registry.access import opened_document
from registry.canonical import read
from registry.documents import content
from registry.models import Case, Draft, Person, Site
from registry.recording.change import NotSaved
from registry.recording.drafts import begin_draft
from registry.recording.sites import add_site, give_role
from registry.terms import Role
from tests.registry.views.draft_pages import TEN_TOUCHES, Page, amended, signed_in

pytestmark = pytest.mark.django_db


def test_a_plain_case_takes_ten_touches_and_is_the_document_written_by_hand(operator: Person):
    page = Page(operator)
    for press in TEN_TOUCHES:
        assert f'value="{press}"' in page.html, f"no button for {press}"
        page.press(press)
    saved = page.press("save full")
    case = Case.objects.get()
    assert saved["Location"] == f"/case/{case.code}/"
    assert content(opened_document(case)) == {
        "id": page.code,
        "site": "north",
        "status": "full",
        "procedure": {"date": datetime.datetime.now(datetime.UTC).date().isoformat()},
        "complications": [
            {
                "device": {"class": "guidewire"},
                "situation": "wire_stuck",
                "segments": ["9"],
                "actions": [
                    {"position": 1, "technique": "steady_traction", "aim": "free", "result": "unchanged"},
                    {
                        "position": 2,
                        "technique": "microcatheter_to_trap",
                        "aim": "free",
                        "result": "resolved",
                        "situation_after": "closed",
                    },
                ],
                "ending": "out_whole",
            }
        ],
    }
    assert not Draft.objects.exists()


def test_a_full_case_is_the_document_written_by_hand(operator: Person):
    page = Page(operator)
    for press in (
        "set C1.device.class guidewire",
        "set C1.situation wire_stuck",
        "segment C1 7",
        "add rung C1 steady_traction",
        "result C1 1 worse",
        "set C1.a1.situation_after wire_unravelled",
        "pick decline C1",
        "set C1.d1.reason would_lose_wire",
        "pick injury-after C1 1",
        "set I1.scale nhlbi_dissection",
        "set I1.grade B",
    ):
        if press == "pick decline C1":
            page.fields["pick decline C1"] = ["snare_single"]
        if press == "pick injury-after C1 1":
            page.press("open C1.a1")
            page.fields["pick injury-after C1 1"] = ["dissection"]
        page.press(press)
    page.press("open C1.a1")
    page.press("keep", C1__a1__minutes="2,5", C1__a1__at_minute="1", C1__a1__note="Felt soft")
    page.press("add rung C1 snare_single")
    page.press("result C1 2 resolved")
    page.press("fragment C1")
    page.press("keep", C1__f1__part="tip", C1__f1__state="held", C1__f1__length_mm="12")
    page.press("set C1.ending part_out_rest_held")
    page.press("set C1.actions_known all")
    page.press("set C1.ended.where here")
    page.press("open patient")
    page.press("save short", patient__local_reference="NM-1", patient__age="71", patient__sex="female")
    assert content(opened_document(Case.objects.get())) == {
        "id": page.code,
        "site": "north",
        "status": "short",
        "procedure": {"date": datetime.datetime.now(datetime.UTC).date().isoformat()},
        "patient": {"local_reference": "NM-1", "age": 71, "sex": "female"},
        "injuries": [
            {
                "ref": "I1",
                "kind": "dissection",
                "scale": "nhlbi_dissection",
                "grade": "B",
                "caused_by": "C1",
                "after_position": 1,
            }
        ],
        "complications": [
            {
                "ref": "C1",
                "actions_known": "all",
                "ended": {"where": "here"},
                "device": {"class": "guidewire"},
                "situation": "wire_stuck",
                "segments": ["7"],
                "actions": [
                    {
                        "position": 1,
                        "technique": "steady_traction",
                        "aim": "free",
                        "result": "worse",
                        "situation_after": "wire_unravelled",
                        "minutes": read("2.5"),
                        "at_minute": 1,
                        "note": "Felt soft",
                    },
                    {
                        "position": 2,
                        "technique": "snare_single",
                        "aim": "free",
                        "devices": [{"class": "snare_single_loop"}],
                        "at_minute": read("3.5"),
                        "result": "resolved",
                        "situation_after": "closed",
                    },
                ],
                "declined": [{"technique": "snare_single", "reason": "would_lose_wire", "after_position": 1}],
                "fragments": [{"ref": "F1", "part": "tip", "state": "held", "length_mm": 12}],
                "ending": "part_out_rest_held",
            }
        ],
    }


@pytest.mark.parametrize("name", ["s1", "s2", "s3", "s4", "s5", "s6", "s7", "s8", "every_property"])
def test_a_case_opened_section_by_section_and_saved_unchanged_is_the_same(operator: Person, name: str):
    page, case = amended(operator, name)
    doors = set(re.findall(r'value="(open [^"]*)"', page.html))
    assert {"open patient", "open procedure", "open outcome", "open C1", "open C1.a1"} <= doors
    for door in sorted(doors):
        page.press(door)
    page.press("save")
    case.refresh_from_db()
    assert case.version == 1
    assert not Draft.objects.exists()


def test_only_the_field_that_was_changed_differs(operator: Person):
    page, case = amended(operator, "s3")
    before = content(opened_document(case))
    page.press("open C1.a2")
    page.press("save", C1__a2__minutes="7", reason="Read from the log")
    case.refresh_from_db()
    before["complications"][0]["actions"][1]["minutes"] = 7
    assert content(opened_document(case)) == before
    assert case.version == 2


def test_enter_keeps_and_does_nothing_else(operator: Person):
    page = Page(operator)
    page.press("set C1.situation wire_stuck")
    first = re.search(r'<button name="do" value="([^"]*)"', page.html[page.html.index('id="log"') :])
    assert first is not None and first[1] == "keep"
    del page.fields["version"]
    before = page.document
    page.load()
    answer = page.client.post(page.address, page.fields)
    assert answer.status_code == 303
    assert page.document == before


def test_a_press_sent_twice_is_done_once(operator: Person):
    page = Page(operator)
    page.press("set C1.situation wire_stuck")
    sent_twice = {**page.fields, "do": "add rung C1 steady_traction"}
    for _ in range(2):
        assert page.client.post(page.address, sent_twice).status_code == 303
    assert len(page.document["complications"][0]["actions"]) == 1


def test_two_pages_that_change_different_fields_are_merged(operator: Person):
    mine, other = Page(operator), None
    other = Page(operator, mine.address)
    other.press("keep", C1__device__lot="L-7")
    mine.press("set C1.situation wire_stuck", C1__device__model="COR-1")
    complication = mine.document["complications"][0]
    assert complication["device"] == {"model": "COR-1", "lot": "L-7"}
    assert complication["situation"] == "wire_stuck"


def test_two_pages_that_change_the_same_field_are_asked_and_the_press_travels_on(operator: Person):
    mine = Page(operator)
    other = Page(operator, mine.address)
    other.press("keep", C1__device__lot="L-7")
    answer = mine.press("set C1.situation wire_stuck", 409, C1__device__lot="L-8")
    html = answer.content.decode()
    assert "L-7" in html and "L-8" in html and 'value="mine set C1.situation wire_stuck"' in html
    assert "situation" not in mine.document["complications"][0]
    mine.press("mine set C1.situation wire_stuck")
    complication = mine.document["complications"][0]
    assert (complication["device"]["lot"], complication["situation"]) == ("L-8", "wire_stuck")


def test_what_cannot_be_read_stays_as_typed_and_is_told(operator: Person):
    page = Page(operator)
    page.press("open patient")
    page.press("open procedure", 422, patient__age="4x", patient__sex="male")
    page.load()
    assert "Age, “4x”" in page.html
    page.press("open patient")
    assert page.fields["patient.age"] == ["4x"]
    assert page.document["patient"] == {"sex": "male"}
    page.press("keep", patient__age="41")
    assert page.document["patient"] == {"sex": "male", "age": 41}
    assert "“4x”" not in page.html


def test_an_operation_that_is_refused_keeps_what_came_with_it(operator: Person):
    page = Page(operator)
    page.press("add rung C1 no_such_technique", 422, C1__device__lot="L-7")
    assert "no_such_technique" in page.html and "L-7" in page.html
    assert page.document["complications"][0] == {"device": {"lot": "L-7"}}


def test_a_case_that_the_checks_refuse_stays_a_draft_and_the_places_are_named(operator: Person):
    page = Page(operator)
    page.press("save full", 422)
    assert "The situation, before anything was tried is needed." in page.html
    assert "How it ended is needed." in page.html
    assert 'value="open C1.situation"' in page.html
    assert not Case.objects.exists()


def test_a_remark_of_the_checks_stands_where_it_arises(operator: Person):
    page = Page(operator)
    for press in TEN_TOUCHES:
        page.press(press)
    page.press("open C1.a1")
    page.press("keep", C1__a1__minutes="999")
    assert re.search(r'id="w-C1.a1.minutes">[^<]+<', page.html)


def test_nobody_else_opens_changes_or_discards_a_draft(site: Site, operator: Person):
    page = Page(operator)
    other = signed_in(give_role("administrator@example.org", site, Role.ADMINISTRATOR, by=None))
    assert other.get(page.address).status_code == 404
    assert other.post(page.address, {**page.fields, "do": "keep"}).status_code == 404
    assert other.post(f"{page.address}discard/").status_code == 404
    assert other.get("/log/0000000000/").status_code == 404


def test_sent_without_a_session_nothing_is_redirected_and_nothing_done(operator: Person):
    page = Page(operator)
    answer = Client(SERVER_NAME="localhost").post(page.address, {**page.fields, "do": "keep"})
    assert answer.status_code == 401


def test_what_meets_a_busy_registry_is_given_back_to_be_sent_again(
    operator: Person, monkeypatch: pytest.MonkeyPatch
):
    page = Page(operator)

    def busy(*_: object) -> None:
        raise NotSaved("the registry is busy with another change; try again")

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("registry.views.logging.kept", busy)
        answer = page.press("keep", 503, C1__device__lot="L-7")
    shown = answer.content.decode()
    assert "the registry is busy" in shown
    assert '<input type="hidden" name="C1.device.lot" value="L-7">' in shown
    page.press("keep", C1__device__lot="L-7")
    assert page.document["complications"][0]["device"] == {"lot": "L-7"}


def test_who_may_only_read_logs_nothing(site: Site):
    presenter = signed_in(give_role("presenter@example.org", site, Role.PRESENTER, by=None))
    assert presenter.get("/log/").status_code == 403
    assert presenter.post("/log/", {"site": "north"}).status_code == 403


def test_a_case_is_begun_only_at_a_site_of_ones_own(operator: Person):
    add_site("south", "South", by=None)
    assert signed_in(operator).post("/log/", {"site": "south"}).status_code == 422
    assert not Draft.objects.exists()


def test_a_discarded_draft_is_gone(operator: Person):
    page = Page(operator)
    assert page.client.post(f"{page.address}discard/").status_code == 302
    assert not Draft.objects.exists()
    assert page.client.get(page.address).status_code == 404


def test_home_leads_back_to_a_draft(operator: Person):
    page = Page(operator)
    html = page.client.get("/").content.decode()
    assert "Drafts, kept for you" in html and f'href="{page.address}"' in html


def test_a_second_complication_names_the_act_that_caused_it(operator: Person):
    page = Page(operator)
    for press in TEN_TOUCHES:
        page.press(press)
    page.press("add complication")
    assert 'value="C1 1"' in page.html
    page.fields["pick caused C2"] = ["C1 1"]
    page.press("pick caused C2")
    second = page.document["complications"][1]
    assert (second["caused_by"], second["after_position"]) == ("C1", 1)


def test_a_list_without_a_choice_asks_for_one(operator: Person):
    page = Page(operator)
    page.press("pick decline C1", 422)
    assert "Choose something in the list first." in page.html


def test_a_script_is_answered_with_the_part_or_with_what_is_kept(operator: Person):
    page = Page(operator)
    script = {"HX-Request": "true"}
    sent = {**page.fields, "turn": "1", "do": "set C1.situation wire_stuck"}
    answer = page.client.post(page.address, sent, headers=script)
    html = answer.content.decode()
    assert answer.status_code == 200 and answer["HX-Retarget"] == "#editor"
    assert 'data-focus="C1.segments"' in html and "<html" not in html and 'hx-swap-oob="outerHTML"' in html
    assert "autofocus" not in html
    keep = {**page.fields, "version": "2", "turn": "2", "do": "keep"}
    kept = page.client.post(page.address, keep, headers=script).content.decode()
    assert 'id="kept"' in kept and 'id="editor"' not in kept
    late = page.client.post(page.address, {**keep, "turn": "1"}, headers=script)
    assert late.status_code == 204


def test_a_clash_is_shown_to_a_script_beside_the_fields(operator: Person):
    mine = Page(operator)
    Page(operator, mine.address).press("keep", C1__device__lot="L-7")
    sent = {**mine.fields, "C1.device.lot": "L-8", "turn": "1", "do": "keep"}
    answer = mine.client.post(mine.address, sent, headers={"HX-Request": "true"})
    assert (answer.status_code, answer["HX-Retarget"]) == (409, "#trouble")


@pytest.mark.parametrize("version", ["", "-1", "999999999999", "x"])
def test_nonsense_about_the_page_itself_is_no_error(operator: Person, version: str):
    page = Page(operator)
    answer = page.client.post(
        page.address, {"version": version, "turn": "?", "do": "open C9.a9.x", "has": ["C7"]}
    )
    assert answer.status_code in (303, 422)


def test_the_reason_of_a_change_survives_a_refusal(operator: Person):
    page, _ = amended(operator, "s1")
    page.press("open procedure")
    page.press("save", 422, procedure__date="never", reason="Read from the log")
    assert 'value="Read from the log"' in page.html and 'value="never"' in page.html


def test_a_page_too_old_to_be_compared_is_asked_about_all_that_differs(operator: Person):
    mine, other = Page(operator), None
    mine.press("add lesion")
    mine.press("open L1")
    old = {**mine.fields, "L1.calcification": ["severe"], "do": "keep"}
    other = Page(operator, mine.address)
    other.press("remove lesion 1")
    for number in range(40):
        other.press("keep", C1__device__lot=f"L-{number}")
    answer = mine.client.post(mine.address, old)
    html = answer.content.decode()
    assert answer.status_code == 409
    assert "L-39" in html and "its row is gone" in html


def test_the_time_of_keeping_is_told_by_the_clock_of_the_site():
    far = add_site("far", "Far Moor", time_zone="Pacific/Kiritimati", by=None)
    person = give_role("far@example.org", far, Role.OPERATOR, by=None)
    code = begin_draft(far, person)
    # 23:30 in the registry's UTC is 13:30 of the next day there, fourteen hours ahead (tz database).
    Draft.objects.filter(code=code).update(
        changed_at=datetime.datetime(2026, 3, 14, 23, 30, tzinfo=datetime.UTC)
    )
    page = Page(person, f"/log/{code}/")
    assert "Draft kept at 13:30" in page.html
    for address in ("/log/", "/"):
        assert re.search(r"15 Mar(\s2026)?, 13:30", page.client.get(address).content.decode())
