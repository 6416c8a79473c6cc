"""Two people at one case, and taking a step back, without a script: what one did is not lost by the other."""

from __future__ import annotations

import re
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from registry.access import opened_document
from registry.models import Case, Draft, Look, Person, Site, Version
from registry.recording.cases import set_state, submit_case
from registry.recording.drafts import opened_draft
from registry.recording.sites import give_role
from registry.terms import CaseState, Role
from tests.builders import a_case, a_ladder
from tests.registry.views.draft_pages import TEN_TOUCHES, Page, signed_in

pytestmark = [pytest.mark.django_db, pytest.mark.data]

LADDER = "wire_stuck: vasodilator=unchanged, steady_traction=unchanged"


@pytest.fixture
def nurse(site: Site) -> Person:
    return give_role("nurse@example.org", site, Role.ADMINISTRATOR, by=None)


@pytest.fixture
def case(operator: Person) -> Case:
    return submit_case(a_case(a_ladder(LADDER), status="full"), by=operator)


def change(case: Case, person: Person) -> Page:
    """The page on which somebody changes a case."""
    return Page(person, signed_in(person).post(f"/case/{case.code}/change/")["Location"])


def stands(case: Case) -> dict[str, object]:
    case.refresh_from_db()
    return opened_document(case)


def test_two_people_who_change_different_things_of_one_case_are_both_saved(
    case: Case, operator: Person, nurse: Person
):
    mine, theirs = change(case, operator), change(case, nurse)
    theirs.press("open C1.a1")
    theirs.press("save", C1__a1__minutes="4")
    mine.press("add rung C1 microcatheter_to_trap")
    mine.press("result C1 3 resolved")
    saved = mine.press("save", C1__device__lot="L-7", reason="Seen again")
    assert saved["Location"] == f"/case/{case.code}/"
    complication = stands(case)["complications"][0]  # type: ignore[index]
    assert case.version == 3
    assert [rung.get("minutes") for rung in complication["actions"]] == [4, None, None]
    assert (complication["device"]["lot"], complication["actions"][2]["result"]) == ("L-7", "resolved")
    assert not Draft.objects.exists()


def both_changed(case: Case, operator: Person, nurse: Person) -> Page:
    """The page of who saves second, answered 409."""
    mine, theirs = change(case, operator), change(case, nurse)
    theirs.press("set C1.ending left_in_place")
    theirs.press("save", C1__device__lot="L-7")
    mine.press("set C1.ending out_in_pieces")
    looks = Look.objects.filter(who=operator.code).count()
    answer = mine.press("save", 409, C1__device__lot="L-8", C1__device__model="COR-1", reason="Bench check")
    mine.html = answer.content.decode()
    assert Look.objects.filter(who=operator.code).count() == looks + 1
    return mine


def test_what_both_changed_is_asked_with_both_values_and_nothing_is_lost(
    case: Case, operator: Person, nurse: Person
):
    mine = both_changed(case, operator, nurse)
    rows = re.findall(r'<th scope="row">(.*?)</th><td>(.*?)</td><td>(.*?)</td>', mine.html)
    assert ("Lot", "L-8", "L-7") in [(label.split(" number")[0], here, there) for label, here, there in rows]
    assert ("How it ended", "Out in pieces, all accounted for", "Left in place") in rows
    assert len(rows) == 2
    assert 'value="save mine"' in mine.html and 'value="theirs"' in mine.html
    assert 'value="Bench check"' in mine.html
    assert mine.document["complications"][0]["device"] == {
        "class": "guidewire",
        "lot": "L-8",
        "model": "COR-1",
    }
    assert stands(case)["complications"][0]["ending"] == "left_in_place"  # type: ignore[index]


def test_mine_is_kept_where_they_differ_and_the_save_travels_on(case: Case, operator: Person, nurse: Person):
    mine = both_changed(case, operator, nurse)
    mine.load()
    assert mine.press("save mine", reason="Bench check")["Location"] == f"/case/{case.code}/"
    complication = stands(case)["complications"][0]  # type: ignore[index]
    assert (complication["ending"], complication["device"]["lot"]) == ("out_in_pieces", "L-8")
    assert complication["device"]["model"] == "COR-1" and case.version == 3


def test_theirs_is_shown_in_the_draft_and_can_be_taken_back(case: Case, operator: Person, nurse: Person):
    mine = both_changed(case, operator, nurse)
    mine.load()
    answer = mine.press("theirs", 200)
    assert "shows the case as it stands" in answer.content.decode()
    complication = mine.document["complications"][0]
    assert (complication["ending"], complication["device"]["lot"]) == ("left_in_place", "L-7")
    assert complication["device"]["model"] == "COR-1"
    mine.load()
    mine.press("undo")
    complication = mine.document["complications"][0]
    assert (complication["ending"], complication["device"]["lot"]) == ("out_in_pieces", "L-8")
    assert mine.press("save")["Location"] == f"/case/{case.code}/"
    assert stands(case)["complications"][0]["ending"] == "out_in_pieces"  # type: ignore[index]


def test_a_script_is_answered_with_the_part_in_which_it_is_asked(case: Case, operator: Person, nurse: Person):
    mine, theirs = change(case, operator), change(case, nurse)
    theirs.press("save", C1__device__lot="L-7")
    sent = {**mine.fields, "C1.device.lot": "L-8", "turn": "1", "do": "save"}
    answer = mine.client.post(mine.address, sent, headers={"HX-Request": "true"})
    html = answer.content.decode()
    assert (answer.status_code, answer["HX-Retarget"]) == (422, "#editor")
    assert html.index('id="editor"') < html.index('value="save mine"') < html.index('class="lead"')


def test_a_third_change_after_the_draft_was_brought_level_is_merged_too(
    case: Case, operator: Person, nurse: Person
):
    mine = both_changed(case, operator, nurse)
    mine.load()
    mine.press("theirs", 200)
    third = change(case, nurse)
    third.press("remove rung C1 1")
    third.press("save")
    mine.load()
    mine.press("open C1.a2")
    mine.press("save", C1__a2__minutes="9")
    (rung,) = stands(case)["complications"][0]["actions"]  # type: ignore[index]
    assert (rung["technique"], rung["minutes"]) == ("steady_traction", 9)


def test_a_draft_brought_level_that_the_checks_refuse_says_so_and_stays(
    case: Case, operator: Person, nurse: Person
):
    mine, theirs = change(case, operator), change(case, nurse)
    theirs.press("save", C1__device__lot="L-7")
    mine.press("open procedure")
    mine.press("unset C1.ending")
    answer = mine.press("save", 422)
    assert "What was changed in the case meanwhile is in it." in answer.content.decode()
    assert mine.document["complications"][0]["device"]["lot"] == "L-7"


def test_a_case_withdrawn_or_locked_meanwhile_says_so_in_words(case: Case, operator: Person, nurse: Person):
    mine = change(case, operator)
    mine.press("set C1.ending left_in_place")
    locked = set_state(case, CaseState.LOCKED, version=1, reason="", by=nurse, source="page")
    assert "the case is locked: only duties" in mine.press("save", 422).content.decode()
    mine.load()
    unlocked = set_state(locked, CaseState.SUBMITTED, version=2, reason="", by=nurse, source="page")
    set_state(unlocked, CaseState.WITHDRAWN, version=3, reason="", by=nurse, source="page")
    for press in ("save", "save mine", "theirs"):
        assert "is withdrawn; bring it back" in mine.press(press, 422).content.decode()
        mine.load()
    assert mine.document["complications"][0]["ending"] == "left_in_place"


def test_what_is_pressed_on_a_draft_of_a_new_case_about_theirs_is_no_error(operator: Person, site: Site):
    page = Page(operator)
    page.press("theirs", 200)
    page.load()
    page.press("save mine", 422)


def test_undo_takes_back_the_last_step_and_then_the_one_before(operator: Person, site: Site):
    page = Page(operator)
    for press in TEN_TOUCHES[:6]:
        page.press(press)
    documents = [page.document]
    for press in ("add rung C1 snare_single", "move rung C1 2 up", "remove rung C1 1"):
        page.press(press)
        documents.append(page.document)
    for document in reversed(documents[:-1]):
        button = re.search(r'value="(undo \d+)" data-name="undo"', page.html)
        assert button is not None
        page.press(button[1])
        assert page.document == document


def test_undo_leaves_what_was_typed_since_and_says_what_it_took_back(operator: Person, site: Site):
    page = Page(operator)
    page.press("set C1.situation wire_stuck", C1__device__lot="L-7")
    page.press("keep", C1__device__model="COR-1")
    sent = {**page.fields, "C1.device.lot": ["L-8"], "do": "undo", "turn": "1"}
    html = page.client.post(page.address, sent, headers={"HX-Request": "true"}).content.decode()
    assert re.search(r'hx-swap-oob="innerHTML:#said">Taken back: [^<]*Wire stuck', html, re.I)
    assert 'data-focus="undo"' in html
    assert page.document["complications"][0] == {"device": {"lot": "L-8", "model": "COR-1"}}


def test_undo_does_not_bring_back_what_could_not_be_read(operator: Person, site: Site):
    page = Page(operator)
    page.press("set C1.situation wire_stuck")
    page.press("add rung C1 steady_traction")
    page.press("keep", C1__a1__minutes="4x")
    assert opened_draft(operator, page.code).text.typed
    page.press("remove rung C1 1", 422)
    page.load()
    page.press("undo")
    assert page.document["complications"][0]["actions"][0]["technique"] == "steady_traction"
    assert opened_draft(operator, page.code).text.typed == {}


def test_undo_sent_twice_is_done_once_and_another_pages_step_is_not_taken_back_unseen(
    operator: Person, site: Site
):
    page = Page(operator)
    page.press("set C1.situation wire_stuck")
    page.press("add rung C1 steady_traction")
    button = re.search(r'value="(undo \d+)"', page.html)
    assert button is not None
    sent = {**page.fields, "do": button[1]}
    for _ in range(2):
        assert page.client.post(page.address, sent).status_code == 303
    assert page.document["complications"][0]["situation"] == "wire_stuck"
    assert "actions" not in page.document["complications"][0]
    page.load()
    Page(operator, page.address).press("set C1.ending left_in_place")
    old = re.search(r'value="(undo \d+)"', page.html)
    assert old is not None
    assert "Another page has done something since" in page.press(old[1], 422).content.decode()
    assert page.document["complications"][0]["ending"] == "left_in_place"


def test_with_no_step_there_is_nothing_to_take_back(operator: Person, site: Site):
    page = Page(operator)
    assert 'value="undo" data-name="undo" class="btn-link-plain" aria-disabled="true"' in page.html
    assert "There is nothing to take back." in page.press("undo", 422).content.decode()
    page.load()
    page.press("undo 99999999999999999999", 422)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("amending", [False, True], ids=["a new case", "a change of a case"])
def test_a_save_pressed_in_two_windows_at_once_is_saved_once(
    site: Site, operator: Person, nurse: Person, amending: bool
):
    if amending:
        case = submit_case(a_case(a_ladder(LADDER), status="full"), by=operator)
        page, theirs = change(case, operator), change(case, nurse)
        theirs.press("save", C1__device__lot="L-7")
    else:
        page = Page(operator)
        for press in TEN_TOUCHES:
            page.press(press)
    page.press("set C1.ending left_in_place")
    windows = [Page(operator, page.address) for _ in range(3)]
    start = threading.Barrier(len(windows))

    def save(window: Page) -> int:
        start.wait()
        try:
            return int(window.client.post(window.address, {**window.fields, "do": "save full"}).status_code)
        finally:
            connection.close()

    with ThreadPoolExecutor(len(windows)) as pool:
        answers = sorted(pool.map(save, windows))
    assert answers[0] == 303 and set(answers[1:]) <= {404, 422, 303}
    case = Case.objects.get()
    assert case.version == (3 if amending else 1)
    assert stands(case)["complications"][0]["ending"] == "left_in_place"  # type: ignore[index]
    assert not Draft.objects.exists() and Version.objects.count() == case.version
