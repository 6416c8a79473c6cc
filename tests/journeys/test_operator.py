"""The operator after a case, in a real browser: a ladder of six rungs by touch, and the plain case by keyboard."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from registry.access import opened_document
from registry.documents import content
from registry.models import Case, Draft, Person
from registry.recording.drafts import opened_draft
from tests.journeys.by_hand import six_rungs_by_hand
from tests.journeys.on_the_page import answered, begin, choose, press, shot

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


SIX_RUNGS = (
    "set C1.device.class guidewire",
    "set C1.situation wire_stuck",
    "segment C1 9",
    "add rung C1 steady_traction",
    "result C1 1 unchanged",
    "add rung C1 vasodilator",
    "result C1 2 unchanged",
    "add rung C1 microcatheter_to_trap",
    "result C1 3 worse",
    "set C1.a3.situation_after wire_unravelled",
)


def test_a_ladder_of_six_rungs_is_the_document_written_by_hand(
    page: Page, live_server: Any, operator: Person, console: list[str]
):
    code = begin(page, live_server)
    for do in SIX_RUNGS:
        press(page, do)
    choose(page, "decline C1", "balloon_beside")
    press(page, "set C1.d1.reason would_risk_stent")
    press(page, "add rung C1 trap_balloon_in_guide")
    press(page, "result C1 4 worse")
    press(page, "set C1.a4.situation_after wire_fractured_in_coronary")
    choose(page, "injury C1", "dissection")
    press(page, "set I1.scale nhlbi_dissection")
    press(page, "set I1.grade B")
    choose(page, "decline C1", "cardiac_surgery")
    press(page, "set C1.d2.reason patient_risk_too_high")
    press(page, "add rung C1 snare_single")
    shot(page, "open-rung")
    press(page, "result C1 5 unchanged")
    press(page, "add rung C1 stent_over_fragment")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator('input[name="C1.a6.minutes"]').fill("7")
    press(page, "result C1 6 resolved")
    press(page, "fragment C1")
    page.locator('select[name="C1.f1.part"]').select_option("coil")
    page.locator('select[name="C1.f1.state"]').select_option("held")
    press(page, "set C1.ending part_out_rest_held")
    press(page, "set C1.actions_known all")
    shot(page, "ladder")
    page.locator('button[value="save full"]').click()
    page.wait_for_url("**/case/*/")
    assert content(opened_document(Case.objects.get())) == six_rungs_by_hand(code)
    assert console == []


def key(page: Page, do: str) -> int:
    """Reach a button by Tab alone, from where the cursor is, and press it with Space; the presses that it took."""
    tabs = _tabs_to(page, "value", do)
    answered(page, lambda: page.keyboard.press("Space"))
    return tabs + 1


def along(page: Page, way: str) -> int:
    """Reach a link within the page by Tab alone and follow it; the presses that it took."""
    tabs = _tabs_to(page, "href", way)
    page.keyboard.press("Enter")
    assert page.evaluate("`#${document.activeElement.id}`") == way
    return tabs + 1


def _tabs_to(page: Page, attribute: str, wanted: str) -> int:
    for tabs in range(120):
        if page.evaluate("(name) => document.activeElement.getAttribute(name)", attribute) == wanted:
            return tabs
        page.keyboard.press("Tab")
    raise AssertionError(f"{wanted} is not reached by Tab")


def test_a_plain_case_is_logged_by_keyboard_alone_in_fifty_presses(
    page: Page, live_server: Any, operator: Person, console: list[str]
):
    begin(page, live_server)
    presses = sum(key(page, do) for do in SIX_RUNGS[:2])
    presses += _tabs_to(page, "id", "by-name-C1") + 1
    page.keyboard.press("Enter")
    presses += key(page, SIX_RUNGS[2])
    presses += along(page, "#ladder-of-C1")
    for do in (
        "add rung C1 steady_traction",
        "result C1 1 unchanged",
        "add rung C1 microcatheter_to_trap",
        "result C1 2 resolved",
        "set C1.ending out_whole",
    ):
        presses += key(page, do)
    assert page.evaluate("document.activeElement.dataset.name") == "C1.actions_known"
    presses += along(page, "#save")
    presses += _tabs_to(page, "value", "save full") + 1
    page.keyboard.press("Enter")
    page.wait_for_url("**/case/*/")
    assert presses <= 52, presses
    complication = content(opened_document(Case.objects.get()))["complications"][0]
    assert [act["result"] for act in complication["actions"]] == ["unchanged", "resolved"]
    assert console == []


def test_words_are_kept_while_typing_and_found_again_after_a_closed_tab(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    press(page, "open case")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator('textarea[name="case.narrative"]').fill("The wire would not come back.")
    page.close(run_before_unload=False)
    document = opened_draft(operator, code).text.document
    assert document["narrative"] == "The wire would not come back."


def test_enter_keeps_the_words_and_leaves_the_page_as_it_is(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    press(page, "set C1.device.class guidewire")
    lot = page.locator('input[name="C1.device.lot"]')
    lot.fill("L-7")
    answered(page, lambda: lot.press("Enter"))
    expect(page.locator("#editor")).to_have_count(1)
    complication = opened_draft(operator, code).text.document["complications"][0]
    assert complication == {"_key": 1, "device": {"class": "guidewire", "lot": "L-7"}}


def test_two_pages_with_the_same_field_are_shown_both_values(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    other = page.context.new_page()
    other.goto(page.url)
    for one, lot in ((page, "L-7"), (other, "L-8")):
        with one.expect_response(lambda answer: answer.request.method == "POST"):
            one.locator('input[name="C1.device.lot"]').fill(lot)
    expect(other.locator("#trouble")).to_contain_text("L-7")
    answered(other, lambda: other.get_by_role("button", name="Keep mine").click())
    assert opened_draft(operator, code).text.document["complications"][0]["device"] == {"lot": "L-8"}
    expect(other.locator("#trouble")).to_be_empty()


def test_words_typed_while_an_answer_is_on_its_way_are_not_lost(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)

    def slowly(route: Any) -> None:
        page.locator('input[name="C1.device.lot"]').press_sequentially("L-7")
        route.continue_()

    page.route("**/log/*/", slowly, times=1)
    press(page, "set C1.device.class guidewire")
    expect(page.locator('input[name="C1.device.lot"]')).to_have_value("L-7")
    expect(page.locator("#kept")).to_be_visible()
    page.wait_for_timeout(1200)
    complication = opened_draft(operator, code).text.document["complications"][0]
    assert complication["device"] == {"class": "guidewire", "lot": "L-7"}


def test_a_double_click_adds_one_rung(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    press(page, "set C1.device.class guidewire")
    press(page, "set C1.situation wire_stuck")
    button = page.locator('button[value="add rung C1 steady_traction"]').first
    button.dblclick()
    expect(page.locator("[data-rung]")).to_have_count(1)
    page.wait_for_timeout(300)
    assert len(opened_draft(operator, code).text.document["complications"][0]["actions"]) == 1


def test_a_rung_is_moved_by_its_grip_and_by_its_arrow(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    for do in (
        "set C1.device.class guidewire",
        "set C1.situation wire_stuck",
        "add rung C1 steady_traction",
        "result C1 1 unchanged",
        "add rung C1 vasodilator",
        "result C1 2 unchanged",
        "move rung C1 2 up",
    ):
        press(page, do)
    assert _techniques(operator, code) == ["vasodilator", "steady_traction"]
    assert page.evaluate("document.activeElement.value") == "move rung C1 2 up"
    grips = page.locator("[data-grip]")
    first, second = grips.nth(0).bounding_box(), grips.nth(1).bounding_box()
    assert first and second
    page.mouse.move(first["x"] + 8, first["y"] + 8)
    page.mouse.down()
    page.mouse.move(second["x"] + 8, second["y"] + 60, steps=5)
    answered(page, page.mouse.up)
    assert _techniques(operator, code) == ["steady_traction", "vasodilator"]


def _techniques(operator: Person, code: str) -> list[str]:
    complication = opened_draft(operator, code).text.document["complications"][0]
    return [act["technique"] for act in complication["actions"]]


def test_without_a_network_nothing_typed_is_lost(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    page.context.set_offline(True)
    page.locator('input[name="C1.device.lot"]').fill("L-7")
    expect(page.locator("#trouble")).to_contain_text("No connection")
    page.context.set_offline(False)
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator("#trouble")).to_be_empty()
    assert opened_draft(operator, code).text.document["complications"][0]["device"] == {"lot": "L-7"}


def test_why_a_case_is_not_saved_yet_stays_to_be_read_while_it_is_mended(
    page: Page, live_server: Any, operator: Person
):
    begin(page, live_server)
    page.locator('button[value="save short"]').first.click()
    expect(page.locator("#trouble")).to_contain_text("not saved yet")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator('input[name="C1.device.lot"]').fill("L-7")
    page.wait_for_timeout(300)
    expect(page.locator("#trouble")).to_contain_text("not saved yet")


def test_a_list_of_segments_stays_open_for_the_next_and_the_map_opens_none(
    page: Page, live_server: Any, operator: Person
):
    begin(page, live_server)
    names = page.locator('button[value="segment C1 9"]')
    answered(
        page, lambda: page.locator('[data-segment="2"]').first.dispatch_event("click", {"bubbles": True})
    )
    expect(names).to_be_hidden()
    press(page, "segment C1 9")
    expect(names).to_be_visible()


def test_a_touch_on_the_map_chooses_the_segment(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    answered(
        page, lambda: page.locator('[data-segment="2"]').first.dispatch_event("click", {"bubbles": True})
    )
    assert opened_draft(operator, code).text.document["complications"][0]["segments"] == ["2"]


def test_signed_out_meanwhile_the_page_stays_and_goes_on(page: Page, live_server: Any, operator: Person):
    code = begin(page, live_server)
    cookies: Any = page.context.cookies()
    page.context.clear_cookies(name="sessionid")
    page.locator('input[name="C1.device.lot"]').fill("L-7")
    expect(page.locator("#trouble")).to_contain_text("signed out")
    expect(page.locator("#editor")).to_be_visible()
    page.context.add_cookies(cookies)
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.evaluate("window.dispatchEvent(new Event('focus'))")
    assert opened_draft(operator, code).text.document["complications"][0]["device"] == {"lot": "L-7"}
    assert Draft.objects.count() == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_has_no_barrier_that_a_machine_can_find(
    page: Page, live_server: Any, operator: Person, scheme: Any
):
    page.emulate_media(color_scheme=scheme)
    begin(page, live_server)
    for do in (*SIX_RUNGS[:4], "open patient", "open C1.a1"):
        press(page, do)
        broken = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in broken] == []


@pytest.mark.parametrize("width", [320, 390, 1440])
def test_nothing_is_wider_than_the_screen(page: Page, live_server: Any, operator: Person, width: int):
    page.set_viewport_size({"width": width, "height": 800})
    begin(page, live_server)
    for do in (*SIX_RUNGS[:4], "open procedure", "open C1.a1"):
        press(page, do)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
