"""What an operator does on the logging page, in a real browser."""

from __future__ import annotations

import os
from typing import Any

from playwright.sync_api import Page, expect


def press(page: Page, do: str) -> None:
    """Press the button of an operation, opening what it lies behind, and wait until the part is there."""
    button = page.locator(f'#editor button[value="{do}"]').first
    behind = page.locator(f'#editor details:not([open]):has(button[value="{do}"]) > summary').first
    while not button.is_visible():
        behind.click()
    answered(page, button.click)


def choose(page: Page, pick: str, code: str) -> None:
    """Choose from a list, which sends itself."""
    lists = page.locator(f'select[name="pick {pick}"]').first
    answered(page, lambda: lists.select_option(code))


def answered(page: Page, act: Any) -> None:
    """Do what sends something, and wait until what came of it is on the page."""
    with page.expect_response(lambda answer: answer.request.method == "POST") as answer:
        act()
    assert answer.value.status == 200, answer.value.text()[:2000]
    expect(page.locator(".htmx-request, .htmx-swapping, .htmx-settling")).to_have_count(0)


def begin(page: Page, live_server: Any) -> str:
    """Begin a case; the draft's code."""
    page.goto(f"{live_server.url}/log/")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/log/*/")
    return page.url.rstrip("/").rpartition("/")[2]


def shot(page: Page, name: str) -> None:
    """A picture for the eye where a folder is asked for."""
    if folder := os.environ.get("SCREENSHOTS"):
        page.screenshot(path=f"{folder}/{name}.png", full_page=True)
