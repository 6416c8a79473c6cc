"""A figure is taken away as a picture or a table, in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from registry.models import Site
from registry.recording.cases import submit_case
from registry.recording.sites import give_role
from registry.terms import Role
from tests.builders import a_case, a_ladder
from tests.journeys.conftest import signed_in

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_figure_is_taken_away_as_png_svg_and_csv(
    page: Page, live_server: Any, site: Site, console: list[str]
) -> None:
    submit_case(
        a_case(a_ladder("wire_stuck: steady_traction=unchanged, microcatheter_to_trap=resolved")), by=None
    )
    signed_in(page, live_server, give_role("director@example.org", site, Role.LAB_DIRECTOR, by=None))
    page.goto(f"{live_server.url}/techniques/?situation=wire_stuck")
    figure = page.locator("#endings-by-attempt")
    for link, begins in (
        ("Picture, PNG", b"\x89PNG"),
        ("Picture, SVG", b"<svg"),
        ("CSV", b"attempts"),
    ):
        with page.expect_download() as download:
            figure.get_by_role("link", name=link, exact=True).click()
        written = Path(download.value.path()).read_bytes()
        assert written.lower().startswith(begins.lower()), (link, written[:40])
    figure.get_by_text("As a table").click()
    expect(figure.locator("table")).to_be_visible()
    assert console == []
