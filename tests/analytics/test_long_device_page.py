"""The devices page of a long catalogue: its way in, its picture as a file, and names that are never markup."""

from __future__ import annotations

import html
import re

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from analytics import figures
from analytics.answers import DeviceRate
from analytics.answers_devices import Drawn, GroupRate, Kinds
from analytics.figures.devices import MOST_IN_A_PICTURE
from analytics.templatetags.device_table import device_rows
from registry.recording.devices import import_catalogue
from tests.analytics.builders import catalogue, take, uses
from tests.analytics.page_reading import a_member, few_questions, rows_of, shown, text_of
from tests.builders import a_case, a_ladder

NOTHING_DRAWN = Drawn({}, 0, None, None, "")
NASTY = '<script>alert("1")</script>\'&amp;" onmouseover="x'
texts = st.text(max_size=12) | st.sampled_from([NASTY, "</td>", "&lt;", "a/b", "..", "%2F", "' ' \""])


def a_rate(model: str | None, device_class: str = "guidewire", events: int = 1) -> DeviceRate:
    return DeviceRate(model, device_class, events, 0, 1000, 0, float(events), 0.1, 5.6)


def tags_of(markup: str) -> list[str]:
    return re.findall(r"<(/?[^\s>]*)", markup)


@given(texts.filter(bool), texts)
def test_no_text_of_a_model_becomes_markup_and_each_is_read_as_it_was_typed(code: str, name: str) -> None:
    def drawn(one: str, called: str) -> str:
        kinds: Kinds = {(one, "guidewire"): {"wire_stuck": 2}}
        table = figures.models_table([a_rate(one)], {one: called}, kinds, NOTHING_DRAWN, {one: 2})
        return device_rows(table)

    row = drawn(code, name)
    assert tags_of(row) == tags_of(drawn("W-1", "A name" if name else ""))
    ((attributes, inside),) = rows_of(row, "model")
    assert attributes["model"] == code
    found = re.search(r'<span class="name"><a href="([^"]*)">([^<]*)</a>', inside)
    assert found and html.unescape(found[2]) == (name or code)
    assert html.unescape(found[1]) == reverse("device", args=[code])


@given(texts)
def test_no_name_of_a_maker_becomes_markup(maker: str) -> None:
    row = device_rows(figures.makers_table([GroupRate(maker, 1, 1, 0, 1000, 0, 1.0, 0.1, 5.6)]))
    assert tags_of(row) == tags_of(
        device_rows(figures.makers_table([GroupRate("Tarn", 1, 1, 0, 1000, 0, 1.0, 0.1, 5.6)]))
    )
    ((attributes, _),) = rows_of(row, "group")
    assert attributes["group"] == maker


@pytest.mark.django_db
def test_a_name_that_looks_like_markup_is_shown_as_it_was_typed(north: None) -> None:
    row = {"maker": NASTY, "model": "W-<1>", "name": NASTY, "class": "guidewire"}
    import_catalogue([(2, row)], check_only=False, by=None)
    uses("north,W-<1>,2026-03,100")
    client = a_member("north")
    for query in ({}, {"by": "maker"}):
        page = shown(client, "/devices/", query)
        assert "<script>alert" not in page and 'onmouseover="' not in page
        assert html.escape(NASTY) in page
    assert shown(client, reverse("device", args=["W-<1>"]))


def a_long_catalogue(models: int) -> None:
    catalogue("Tarn,B-1,A balloon,balloon_semi_compliant")
    catalogue(*(f"Tarn,W-{number:03},Wire {number:03},guidewire" for number in range(models)))
    uses(*(f"north,W-{number:03},2026-03,100" for number in range(models)), "north,B-1,2026-03,40")


@pytest.mark.django_db
def test_a_long_page_offers_its_picture_as_a_file_and_links_to_its_kinds(north: None) -> None:
    a_long_catalogue(MOST_IN_A_PICTURE)
    take(a_case(a_ladder("wire_stuck:", device={"class": "guidewire", "model": "W-007"})))
    client = a_member("north")
    shown(client, "/devices/")
    with few_questions():
        page = shown(client, "/devices/")
    assert len(rows_of(page, "model")) == 201
    assert "<figure" not in page and "With 201 rows the picture" in text_of(page)
    for file, expected in re.findall(r'href="(/figures/device-rates\.(svg|csv))"', page):
        content = shown(client, file)
        assert content.count("Wire 0") == 100, expected
    jumps = re.findall(r'<li><a href="#(kind-[a-z-]+)">([^<]+)</a> <span class="soft">([\d,]+)</span>', page)
    assert [(name, number) for _, name, number in jumps] == [("Guidewires", "200"), ("Balloons", "1")]
    for anchor, name, _ in jumps:
        heading = re.search(rf'<tr role="row" class="group" id="{anchor}">(.*?)</tr>', page)
        assert heading and text_of(heading[1]) == name


@pytest.mark.django_db
def test_a_page_that_is_not_long_draws_its_picture_and_needs_no_links_to_its_parts(north: None) -> None:
    a_long_catalogue(20)
    page = shown(a_member("north"), "/devices/")
    assert '<figure class="chart" id="device-rates">' in page
    assert 'href="#kind-' not in page
