"""What the page of a draft calls a device, and the ways on through it that need no script."""

from __future__ import annotations

import re

import pytest

from registry.models import Person
from registry.recording.devices import import_catalogue
from registry.recording.sites import add_site, give_role
from registry.terms import Role
from tests.registry.views.draft_pages import Page

pytestmark = pytest.mark.django_db


@pytest.fixture
def operator() -> Person:
    return give_role("operator@example.org", add_site("north", "North Moor", by=None), Role.OPERATOR, by=None)


def test_a_device_of_a_rung_is_called_by_its_name_in_the_catalogue(operator: Person):
    row = {"maker": "Orlo", "model": "ORLO-3", "name": "Orlo Three", "class": "snare_single_loop"}
    import_catalogue([(2, row)], check_only=False, by=None)
    page = Page(operator)
    for press in ("set C1.device.class guidewire", "set C1.situation wire_stuck", "add rung C1 snare_single"):
        page.press(press)
    page.press("add device C1.a1 snare_single_loop")
    device = next(name for name in page.fields if re.fullmatch(r"C1\.a1\.device\d+\.model", name))
    page.fields[device] = ["ORLO-3"]
    page.press("keep")
    page.load()
    picture = page.html[page.html.index('class="ladder-picture"') :]
    shown = re.sub(r"<[^>]*>|\s+", " ", picture[: picture.index("</svg>")])
    assert "ORLO-3" not in shown and re.search(r"Orlo\s+Three", shown)


def test_every_way_on_leads_to_a_place_that_takes_the_cursor(operator: Person):
    page = Page(operator)
    page.press("add complication")
    ways = re.findall(r'<p class="onwards"><a href="#([^"]+)"', page.html)
    assert ways == ["ladder-of-C1", "save", "ladder-of-C2", "save"]
    for way in ways:
        assert re.search(rf'id="{way}"[^>]* tabindex="-1"', page.html)


def test_after_a_segment_the_cursor_stands_before_the_way_on(operator: Person):
    page = Page(operator)
    page.press("segment C1 9")
    focused = page.html.index("autofocus")
    assert 'data-name="C1.segments"' in page.html[focused - 60 : focused]
    assert page.html.count("autofocus") == 1
    assert focused < page.html.index('href="#ladder-of-C1"') < page.html.index('value="segment C1 9"')
