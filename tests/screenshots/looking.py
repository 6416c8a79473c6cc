"""Looking at pages in a real browser: pictures, and what is wrong with them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from registry.models import Membership
from tests.screenshots.__main__ import SHOWN, THEMES, WIDTHS
from tests.screenshots.pages import NOBODY, PAGES, Pictured

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
]

SQUEEZED = """[...document.querySelectorAll("label, legend, dt, dd, li, p, th, td")]
    .filter(one => one.checkVisibility() && one.clientWidth > 1 && one.clientHeight > 10 * one.clientWidth)
    .map(one => one.textContent.trim())"""
"""Texts much higher than they are wide, which stand one letter a line."""
HEIGHT = "document.documentElement.scrollHeight"


def look_at_all(address: str, password: str, chromium: str, tour: Path) -> list[str]:
    """Look at every page; returns what is wrong, a sentence each, and leaves the README's pictures in `tour`."""
    wrong: list[str] = []
    places = {pictured.name: pictured.address() for pictured in PAGES}
    emails = {one.role: _email(one.role) if one.role != NOBODY else "" for one in PAGES}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        for role, email in emails.items():
            for theme in THEMES:
                for width in WIDTHS:
                    page, said = _entered(browser, address, email, password, theme, width)
                    for pictured in (one for one in PAGES if one.role == role):
                        said.clear()
                        where = f"{pictured.name} at {width} px, {theme}"
                        found = _wrong(page, address + places[pictured.name], pictured, said)
                        wrong += [f"{where}: {sentence}" for sentence in found]
                        _picture(page, tour, pictured.name, theme, width)
                    page.context.close()
        browser.close()
    return wrong


def _picture(page: Page, tour: Path, name: str, theme: str, width: int) -> None:
    file = f"{name}-{theme}-{width}.png"
    if (name, theme, width) in SHOWN:
        page.screenshot(path=tour / file)
    if folder := os.environ.get("SCREENSHOTS"):
        for _ in range(2):  # Rows out of sight are not drawn, and take another height once they are.
            page.set_viewport_size({"width": width, "height": page.evaluate(HEIGHT)})
        page.screenshot(path=Path(folder) / file, full_page=True)
        page.set_viewport_size({"width": width, "height": 1000})


def _email(role: str) -> str:
    return str(Membership.objects.filter(role=role).select_related("person").order_by("pk")[0].person.email)


def _entered(
    browser: Browser, address: str, email: str, password: str, theme: Any, width: int
) -> tuple[Page, list[str]]:
    context = browser.new_context(
        color_scheme=theme, viewport={"width": width, "height": 1000}, reduced_motion="reduce"
    )
    page = context.new_page()
    said: list[str] = []

    def heard(message: ConsoleMessage) -> None:
        said.append(message.text)

    page.on("console", heard)
    if not email:
        return page, said
    page.goto(f"{address}/account/sign-in/")
    page.fill("[name=login]", email)
    page.fill("[name=password]", password)
    page.click("main button.btn-main")
    page.wait_for_url(f"{address}/")
    return page, said


def _wrong(page: Page, address: str, pictured: Pictured, said: list[str]) -> list[str]:
    answer = page.goto(address)
    if pictured.pressed:
        for name, text in pictured.typed.items():
            page.fill(f"[name={name}]", text)
        with page.expect_navigation() as arrived:
            page.get_by_role("button", name=pictured.pressed).click()
        answer = arrived.value
    if answer is None or answer.status != pictured.status:
        return [f"answered {answer.status if answer else 'nothing'}"]
    page.wait_for_load_state("networkidle")
    expected = "" if pictured.status == 200 else f"status of {pictured.status} "
    found = [f"the console says: {text}" for text in said if not (expected and expected in text)]
    over = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    if over > 0:
        found.append(f"it overflows sideways by {over} px")
    found += [f"one letter a line: {text}" for text in page.evaluate(SQUEEZED)]
    if pictured.caution and page.locator(".caution").count() == 0:
        found.append("its caution is missing")
    results = Axe().run(page)
    found += [f"axe: {one['id']}: {one['nodes'][0]['html'][:120]}" for one in results.response["violations"]]
    return found
