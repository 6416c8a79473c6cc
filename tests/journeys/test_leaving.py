"""Leaving the logging page while something is not kept: the words arrive, and the browser asks first."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Dialog, Page, Route, expect

from registry.models import Person
from registry.recording.drafts import opened_draft
from tests.journeys.on_the_page import begin, press

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def device(operator: Person, code: str) -> Any:
    """What is kept of the first complication's device."""
    return opened_draft(operator, code).text.document["complications"][0].get("device")


def kept_soon(page: Page, operator: Person, code: str, expected: Any) -> None:
    """What was sent in the background arrives; the page given is one that is open."""
    for _ in range(100):
        if device(operator, code) == expected:
            return
        page.wait_for_timeout(50)
    assert device(operator, code) == expected


HIDDEN = (
    "Object.defineProperty(document, 'visibilityState', {value: 'hidden'});"
    "document.dispatchEvent(new Event('visibilitychange'))"
)


def _without_autosave(page: Page) -> None:
    """Only what is sent on leaving can arrive."""
    page.evaluate("document.getElementById('keeper').remove()")


def questions(page: Page) -> list[str]:
    """What the browser asks, each time answered with yes."""
    asked: list[str] = []

    def answered(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.accept()

    page.on("dialog", answered)
    return asked


def test_what_is_typed_before_the_tab_closes_is_there_on_opening_again(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    questions(page)
    _without_autosave(page)
    other = page.context.new_page()
    page.locator('input[name="C1.device.lot"]').fill("L-7")
    page.close(run_before_unload=True)
    kept_soon(other, operator, code, {"lot": "L-7"})
    other.goto(f"{live_server.url}/log/{code}/")
    expect(other.locator('input[name="C1.device.lot"]')).to_have_value("L-7")


def test_the_browser_asks_before_a_page_with_unkept_words_is_left(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    asked = questions(page)
    _without_autosave(page)
    page.locator('input[name="C1.device.lot"]').press_sequentially("L-8")
    page.goto(f"{live_server.url}/log/")
    assert asked == ["beforeunload"]
    kept_soon(page, operator, code, {"lot": "L-8"})


def test_a_page_with_nothing_unkept_is_left_without_a_question_and_sends_nothing(
    page: Page, live_server: Any, operator: Person
):
    begin(page, live_server)
    asked = questions(page)
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.locator('input[name="C1.device.lot"]').press_sequentially("L-9")
    expect(page.locator("#log[data-unkept]")).to_have_count(0)
    posts: list[str] = []
    page.on("request", lambda request: posts.append(request.url) if request.method == "POST" else None)
    page.goto(f"{live_server.url}/log/")
    assert (asked, posts) == ([], [])


def test_words_whose_answer_is_still_awaited_are_not_taken_for_kept(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    held: list[Route] = []

    def first_is_lost(route: Route) -> None:
        held.append(route)
        if len(held) > 1:
            route.continue_()

    page.route("**/log/*/", first_is_lost)
    page.locator('input[name="C1.device.lot"]').fill("L-5")
    for _ in range(60):
        if held:
            break
        page.wait_for_timeout(50)
    expect(page.locator("#log[data-unkept]")).to_have_count(1)
    page.evaluate(HIDDEN)
    kept_soon(page, operator, code, {"lot": "L-5"})
    assert len(held) == 2


def test_a_page_that_lives_on_in_the_background_goes_on_without_a_clash(
    page: Page, live_server: Any, operator: Person, console: list[str]
):
    code = begin(page, live_server)
    lot = page.locator('input[name="C1.device.lot"]')
    lot.fill("L-6")
    before = page.locator('#kept input[name="version"]').input_value()
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        page.evaluate(HIDDEN)
    expect(page.locator('#kept input[name="version"]')).not_to_have_value(before)
    lot.press_sequentially("0")
    expect(page.locator("#log[data-unkept]")).to_have_count(0)
    expect(lot).to_be_focused()
    expect(page.locator("#trouble")).to_be_empty()
    assert device(operator, code) == {"lot": "L-60"}
    assert console == []


def test_nothing_is_sent_to_a_draft_that_has_become_a_case(
    page: Page, live_server: Any, operator: Person, console: list[str]
):
    begin(page, live_server)
    for do in ("set C1.device.class guidewire", "set C1.situation wire_stuck", "set C1.ending out_whole"):
        press(page, do)
    asked = questions(page)
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.url) if request.method == "POST" else None)

    def slowly(route: Route) -> None:
        """The autosave comes due while the case is being saved."""
        page.wait_for_timeout(1000)
        route.continue_()

    page.locator('input[name="C1.device.lot"]').fill("L-7")
    page.route("**/log/*/", slowly, times=1)
    page.locator('button[value="save full"]').click()
    page.wait_for_url("**/case/*/")
    assert (len(sent), asked, console) == (1, [], [])
