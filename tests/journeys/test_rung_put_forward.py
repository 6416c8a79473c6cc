"""The open rung: minutes by a touch, aim, devices and minute in a sentence that can be changed."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page, expect

from registry.models import Person
from registry.recording.drafts import opened_draft
from tests.journeys.on_the_page import begin, press

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def rungs(operator: Person, code: str) -> list[dict[str, Any]]:
    """The rungs as they are kept."""
    return list(opened_draft(operator, code).text.document["complications"][0]["actions"])


@pytest.fixture
def code(page: Page, live_server: Any, operator: Person) -> str:
    """A draft with one open rung."""
    code = begin(page, live_server)
    for do in (
        "set C1.device.class guidewire",
        "set C1.situation wire_fractured_in_coronary",
        "add rung C1 snare_single",
    ):
        press(page, do)
    return code


def test_minutes_are_given_by_touch_and_kept(page: Page, operator: Person, code: str):
    page.set_viewport_size({"width": 390, "height": 844})
    more = page.get_by_role("button", name="One minute more: How long it took")
    less = page.get_by_role("button", name="One minute less: How long it took")
    for button in (more, less):
        box = button.bounding_box()
        assert box and (box["width"], box["height"]) >= (44, 44)
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        for _ in range(3):
            more.click()
        less.click()
    field = page.locator('input[name="C1.a1.minutes"]')
    expect(field).to_have_value("2")
    assert (field.get_attribute("type"), field.get_attribute("inputmode")) == (None, "decimal")
    expect(page.locator("#said")).to_have_text("2 minutes")
    expect(page.locator("#log[data-unkept]")).to_have_count(0)
    assert rungs(operator, code)[0]["minutes"] == 2


def test_minutes_are_given_by_keyboard_too(page: Page, operator: Person, code: str):
    page.locator('input[name="C1.a1.at_minute"]').focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Space")
    expect(page.locator('input[name="C1.a1.at_minute"]')).to_have_value("2")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Shift+Tab")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        for _ in range(4):
            page.keyboard.press("Enter")
    expect(page.locator('input[name="C1.a1.at_minute"]')).to_have_value("-2")


def test_an_act_takes_no_less_than_no_time_and_what_is_typed_otherwise_is_left(page: Page, code: str):
    field = page.locator('input[name="C1.a1.minutes"]')
    less = page.get_by_role("button", name="One minute less: How long it took")
    field.fill("1,5")
    less.click()
    expect(field).to_have_value("0.5")
    less.click()
    expect(field).to_have_value("0")
    field.fill("4x")
    less.click()
    expect(field).to_have_value("4x")


def test_a_touch_on_minutes_takes_back_that_they_are_not_known(page: Page, code: str):
    box = page.locator('input[name="C1.a1.minutes?"]')
    box.check()
    page.get_by_role("button", name="One minute more: How long it took").click()
    expect(box).not_to_be_checked()


def test_aim_device_and_minute_are_put_forward_in_a_sentence_and_changed(
    page: Page, operator: Person, code: str
):
    sentence = page.locator(".put-forward")
    expect(sentence).to_contain_text("To retrieve")
    expect(sentence).to_contain_text("single-loop snare")
    expect(sentence).not_to_contain_text("Begun at")
    page.locator('input[name="C1.a1.at_minute"]').fill("4")
    page.locator('input[name="C1.a1.minutes"]').fill("5")
    press(page, "result C1 1 unchanged")
    press(page, "add rung C1 basket")
    expect(sentence).to_contain_text("Begun at 9 min, where rung 1 ended")
    expect(sentence).to_contain_text("basket")
    added = rungs(operator, code)[1]
    assert (added["at_minute"], [one["class"] for one in added["devices"]]) == (9, ["basket"])
    press(page, "open C1.a2.at_minute")
    field = page.locator('input[name="C1.a2.at_minute"]')
    expect(field).to_be_focused()
    field.fill("11")
    press(page, "open C1.a2.aim")
    expect(sentence).to_contain_text("Begun at 11 min, from recognition")
    press(page, "set C1.a2.aim free")
    expect(sentence).to_contain_text("To free")
    press(page, "open C1.a2.device1")
    assert page.evaluate("document.activeElement.dataset.name") == "C1.a2.device1"
    assert rungs(operator, code)[1]["at_minute"] == 11
