"""Large numbers: whatever a page of figures prints has its thousands apart, and its values for programs have not."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping
from random import Random
from typing import Any

import pytest
from django.test import Client

from analytics import summaries
from analytics.answers import Curve
from analytics.answers_sites import Funnel
from tests.analytics.builders import add_sites, returns, take, uses
from tests.analytics.invented import CLASSES, MONTHS, SITES, invented_cases
from tests.analytics.page_reading import a_member, shown
from tests.analytics.test_device_pages import with_tools
from tests.analytics.test_places import placed
from tests.analytics.test_shelves import wanting

pytestmark = [pytest.mark.data, pytest.mark.django_db]

TIMES = 12_345
NO_COUNTS = {"number", "year", "months", "attempt_in_situation"}
ASKED = ("situations", "situation", "extent", "left_out_of_techniques", "device_page", "extent_of_devices")
ALSO = ("rescue_tools", "places", "lesion_contexts", "sites", "operators", "shopping_list", "lots_in_brief")
PAGES = {
    "techniques": "/techniques/",
    "a situation": "/techniques/?situation=wire_stuck",
    "devices": "/devices/",
    "devices by class": "/devices/?by=class",
    "rescue tools": "/devices/rescue/",
    "places": "/places/",
    "sites": "/sites/",
    "tools wanted": "/tools-wanted/",
}


def grown(value: Any) -> Any:
    """The answer with every count so many times as large; a curve and a funnel, which hang together, as they are."""
    if isinstance(value, bool | Curve | Funnel):
        return value
    if isinstance(value, int):
        return value * TIMES
    if isinstance(value, Mapping):
        return {key: grown(one) for key, one in value.items()}
    if isinstance(value, list | tuple) and type(value) in (list, tuple):
        return type(value)(map(grown, value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        counts = {one.name for one in dataclasses.fields(value) if one.init} - NO_COUNTS
        return dataclasses.replace(value, **{name: grown(getattr(value, name)) for name in counts})
    return value


def growing(answer: Callable[..., Any]) -> Callable[..., Any]:
    return lambda *args, **more: grown(answer(*args, **more))


@pytest.fixture
def reader(db: None, monkeypatch: pytest.MonkeyPatch) -> Client:
    """The browser of a director of all sites, where each count is many times what is recorded."""
    chance = Random(7)
    add_sites(*SITES)
    cases = [wanting(placed(case, chance), chance) for case in invented_cases(90, seed=7)]
    take(*(with_tools(case, number) for number, case in enumerate(cases)))
    uses(*(f"{site},{model},{month},40" for site in SITES for model in CLASSES for month in MONTHS))
    returns(*(f"{site},{month},300,all_reported," for site in SITES for month in MONTHS))
    for name in (*ASKED, *ALSO):
        monkeypatch.setattr(summaries, name, growing(getattr(summaries, name)))
    return a_member(*SITES)


def test_every_page_of_figures_prints_large_numbers_with_their_thousands(reader: Client) -> None:
    for name, address in PAGES.items():
        page = shown(reader, address)
        printed = re.findall(r">([^<]+)<", page)
        assert any(re.fullmatch(r"(wanted in )?\d+,\d{3}( complications)?", words) for words in printed), name
        assert not [words for words in printed if re.search(r"\d{5,}", words)], name
        values = re.findall(r'<data value="([^"]*)"', page)
        assert not [value for value in values if "," in value], name
