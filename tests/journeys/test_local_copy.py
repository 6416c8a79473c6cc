"""What the browser keeps on the device while the network is gone: only allowed fields, only until they are kept."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from registry.case_fields import walk
from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.rules import Treatment
from registry.editing import begun
from registry.editing.places import ROWS
from registry.field_kinds import Label, List, Thing
from registry.models import Person
from registry.recording.drafts import DraftText, Sent, kept, opened_draft
from tests.fixtures.test_cases import case
from tests.journeys.conftest import signed_in
from tests.journeys.on_the_page import begin, press

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STORED = "JSON.stringify(Object.fromEntries(Object.entries(localStorage)))"
OPENINGS = (
    *("", "C1", "patient", "procedure", "outcome", "antiplatelet_plan", "duties", "follow_up", "case"),
    *("C1.a1", "C1.a2", "C1.d1", "C1.f1", "I1"),
)
FILLED = """() => {
  const form = document.getElementById("log"), names = [];
  for (const field of form.querySelectorAll("#editor input, #editor select, #editor textarea")) {
    if (!field.name || field.type === "hidden" || field.name.startsWith("pick ")) continue;
    if (field.type === "checkbox") field.checked = !field.name.endsWith("?");
    else if (field.tagName === "SELECT") field.selectedIndex = field.options.length - 1;
    else field.value = field.inputMode === "decimal" ? "7" : "TYPED IN " + field.name;
    names.push(field.name);
    field.dispatchEvent(new Event("input", {bubbles: true}));
  }
  return names;
}"""


def everything(operator: Person, code: str) -> None:
    """A draft in which every list has a row, so that every field can be opened."""
    whole = begun({**case("every_property"), "id": code, "site": "north"})
    kept(operator, code, Sent(1, "", None, ""), lambda stood: DraftText(whole))


def path(name: str) -> str:
    """A field of the form by the name that the policy has for it."""
    rows = {row.step: row.list for row in ROWS}
    steps = [
        f"{rows[found[1]]}[]" if (found := re.fullmatch(r"(\D+?)\d+", step)) and found[1] in rows else step
        for step in name.removesuffix("?").removeprefix("case.").split(".")
    ]
    return ".".join(steps)


def fields_stored(page: Page) -> dict[str, Any]:
    """What the device keeps of the draft, by field."""
    stored = [json.loads(text) for text in json.loads(page.evaluate(STORED)).values()]
    return {name: value for copy in stored for name, value in copy["fields"].items()}


def test_no_field_outside_the_allow_list_is_ever_kept_on_the_device(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    everything(operator, code)
    page.on("dialog", lambda dialog: dialog.accept())
    page.reload()
    lost = {"now": False}

    def perhaps(route: Route) -> None:
        if route.request.method == "POST" and lost["now"]:
            route.abort()
        else:
            route.continue_()

    page.route("**/log/*/", perhaps)
    walked: set[str] = set()
    on_device: set[str] = set()
    for opening in OPENINGS:
        if opening:
            press(page, f"open {opening}")
        lost["now"] = True
        walked |= {path(name) for name in page.evaluate(FILLED)}
        assert "TYPED" not in page.evaluate(STORED)
        on_device |= {path(name) for name in fields_stored(page)}
        page.evaluate("localStorage.clear()")
        page.reload()
        lost["now"] = False
    allowed = {name for name, rule in DOCUMENT.items() if rule.treatment is Treatment.KEEP}
    assert on_device - allowed == set()
    assert len(on_device) > 80
    # Every field that may not stay was typed in as well: those that are not on the form are named.
    things = {
        name
        for name, kind in walk()
        if isinstance(kind, Thing | Label) or (isinstance(kind, List) and isinstance(kind.item, Thing))
    }
    assert set(DOCUMENT) - allowed - walked - things == {"site"}


def test_values_typed_without_a_network_are_put_back_by_a_press(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    press(page, "set C1.device.class guidewire")
    press(page, "open C1")
    without_a_network(page)
    typed(page, "C1.device.diameter_mm", "0.36")
    typed(page, "C1.device.serial", "S-12")
    stored = page.evaluate(STORED)
    assert "0.36" in stored and "S-12" not in stored
    page = comes_back(page, f"{live_server.url}/log/{code}/")
    offer = page.locator("#local-copy")
    expect(offer).to_contain_text("Values typed without a network are kept on this device")
    expect(offer).to_contain_text("0.36")
    assert "diameter_mm" not in device_of(operator, code)
    with page.expect_navigation():
        offer.get_by_role("button", name="Put them back").click()
    assert device_of(operator, code)["diameter_mm"] == Decimal("0.36")
    expect(page.locator('input[name="C1.device.diameter_mm"]')).to_have_value("0.36")
    expect(page.locator("#local-copy")).to_be_hidden()
    assert fields_stored(page) == {}


def test_values_of_a_row_that_is_closed_by_now_are_put_back_too(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    press(page, "set C1.device.class guidewire")
    press(page, "open C1")
    without_a_network(page)
    typed(page, "C1.device.diameter_mm", "0.36")
    version = opened_draft(operator, code).version
    kept(operator, code, Sent(version, "", None, ""), lambda stood: replace(stood.now, opened=""))
    page = comes_back(page, f"{live_server.url}/log/{code}/")
    expect(page.locator('input[name="C1.device.diameter_mm"]')).to_have_count(0)
    expect(page.locator("#local-copy")).to_contain_text("The draft has been changed since")
    with page.expect_navigation():
        page.get_by_role("button", name="Put them back").click()
    assert device_of(operator, code)["diameter_mm"] == Decimal("0.36")


def test_values_typed_without_a_network_are_thrown_away_by_a_press(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    press(page, "open C1")
    without_a_network(page)
    typed(page, "C1.device.diameter_mm", "0.36")
    page = comes_back(page, f"{live_server.url}/log/{code}/")
    page.get_by_role("button", name="Throw them away").click()
    expect(page.locator("#local-copy")).to_be_hidden()
    assert fields_stored(page) == {}
    page.reload()
    expect(page.locator("#local-copy")).to_be_hidden()


def test_what_is_kept_in_the_registry_is_kept_on_the_device_no_longer(
    page: Page, live_server: Any, operator: Person
):
    begin(page, live_server)
    press(page, "open C1")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        typed(page, "C1.device.diameter_mm", "0.36")
        assert set(fields_stored(page)) == {"C1.device.diameter_mm", "C1.device.diameter_mm?"}
    expect(page.locator("#log[data-unkept]")).to_have_count(0)
    assert page.evaluate("localStorage.length") == 0


def test_what_is_typed_anew_is_not_overwritten_by_what_is_put_back(
    page: Page, live_server: Any, operator: Person
):
    code = begin(page, live_server)
    press(page, "open C1")
    without_a_network(page)
    typed(page, "C1.device.diameter_mm", "0.36")
    typed(page, "C1.device.length_mm", "1900")
    page = comes_back(page, f"{live_server.url}/log/{code}/")
    with page.expect_response(lambda answer: answer.request.method == "POST"):
        typed(page, "C1.device.diameter_mm", "0.38")
    expect(page.locator("#log[data-unkept]")).to_have_count(0)
    assert set(fields_stored(page)) == {"C1.device.length_mm"}
    with page.expect_navigation():
        page.get_by_role("button", name="Put them back").click()
    kept_now = device_of(operator, code)
    assert (kept_now["diameter_mm"], kept_now["length_mm"]) == (Decimal("0.38"), 1900)


@pytest.mark.parametrize("way", ["sign out", "discard", "save"])
def test_a_copy_goes_when_its_person_or_its_draft_does(
    page: Page, live_server: Any, operator: Person, way: str
):
    code = begin(page, live_server)
    for do in ("set C1.device.class guidewire", "set C1.situation wire_stuck", "set C1.ending out_whole"):
        press(page, do)
    press(page, "open C1")
    without_a_network(page)
    typed(page, "C1.device.diameter_mm", "0.36")
    page = comes_back(page, f"{live_server.url}/log/{code}/")
    expect(page.locator("#local-copy")).to_be_visible()
    if way == "sign out":
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(lambda address: "/log/" not in address)
    elif way == "discard":
        page.get_by_text("Discard this draft").click()
        page.get_by_role("button", name="Yes, discard it").click()
        page.wait_for_url("**/log/")
    else:
        page.locator('button[value="save full"]').click()
        page.wait_for_url("**/case/*/")
    assert page.evaluate("localStorage.length") == 0


def test_a_copy_is_offered_to_nobody_else(page: Page, live_server: Any, operator: Person, colleague: Person):
    begin(page, live_server)
    press(page, "open C1")
    without_a_network(page)
    typed(page, "C1.device.diameter_mm", "0.36")
    signed_in(page, live_server, colleague)
    page = comes_back(page, f"{live_server.url}/log/")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/log/*/")
    expect(page.locator("#local-copy")).to_be_hidden()
    assert page.evaluate("localStorage.length") == 1


def typed(page: Page, name: str, text: str) -> None:
    """Type into a field, opening what it lies behind."""
    field = page.locator(f'input[name="{name}"]')
    while not field.is_visible():
        page.locator("#editor details:not([open])", has=field).first.locator("> summary").click()
    field.fill(text)


def without_a_network(page: Page) -> None:
    """From here on nothing arrives, not even what is sent on leaving."""
    page.on("dialog", lambda dialog: dialog.accept())
    page.context.set_offline(True)


def comes_back(page: Page, address: str) -> Page:
    """The tab is lost while the network is gone, without a last word; later another page is opened."""
    page.context.set_offline(True)
    # The browser that is driven sends what a page sends on leaving, though it is told that it is offline.
    page.evaluate("() => { window.fetch = () => Promise.reject(new Error('no network')); }")
    context = page.context
    page.close()
    context.set_offline(False)
    opened = context.new_page()
    opened.on("dialog", lambda dialog: dialog.accept())
    opened.goto(address)
    return opened


def device_of(operator: Person, code: str) -> dict[str, Any]:
    """What is kept of the first complication's device."""
    return dict(opened_draft(operator, code).text.document["complications"][0].get("device") or {})
