"""The page that says how the numbers are made: complete, reachable from every figure, and leading nowhere in vain."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.test import Client

from analytics.methods import groups
from registry.cautions import caution
from tests.analytics.builders import take
from tests.analytics.page_reading import a_member, shown, text_of
from tests.builders import a_case, a_ladder

pytestmark = pytest.mark.django_db

TEMPLATE = Path(__file__).parents[2] / "analytics" / "templates" / "analytics" / "numbers.html"


@pytest.fixture
def member(north: None) -> Client:
    return a_member("north")


def anchors(page: str) -> list[str]:
    return re.findall(r'\sid="([^"]+)"', page)


def test_every_statistic_has_its_section_and_every_link_within_the_page_arrives(member: Client) -> None:
    page = shown(member, "/numbers/")
    there = anchors(page)
    assert len(there) == len(set(there))
    assert {method.name for group in groups() for method in group.methods} <= set(there)
    assert set(re.findall(r'href="#([^"]+)"', page)) <= set(there)


def test_it_prints_what_the_statistics_say_of_themselves(member: Client) -> None:
    page = text_of(shown(member, "/numbers/"))
    assert "wilson(7, 12) gives 0.319511 to 0.806740." in page
    assert "Source: Garwood, Biometrika 1936;28:437-442" in page
    assert "`" not in page


def test_it_carries_the_cautions(member: Client) -> None:
    page = text_of(shown(member, "/numbers/"))
    assert caution("observational") in page and caution("trained_teams") in page


def test_it_says_nothing_of_cause() -> None:
    text = TEMPLATE.read_text(encoding="utf-8").lower()
    assert not {"caused", "works", "reduces", "should", "better", "proven"} & set(re.findall(r"[a-z]+", text))


@pytest.mark.parametrize(
    ("address", "anchor"),
    [("/techniques/?situation=wire_stuck", "clustered_wilson"), ("/devices/", "garwood")],
)
def test_the_method_of_a_table_leads_to_its_section(member: Client, address: str, anchor: str) -> None:
    take(a_case(a_ladder("wire_stuck: steady_traction=unchanged"), id="N-1"))
    found = re.findall(r'href="/numbers/#([^"]+)"', shown(member, address))
    assert anchor in found
    assert set(found) <= set(anchors(shown(member, "/numbers/")))


@pytest.mark.parametrize("address", ["/", "/cases/", "/rights/", "/techniques/", "/devices/"])
def test_the_foot_of_a_page_leads_there(member: Client, address: str) -> None:
    assert 'href="/numbers/">How the numbers are made</a>' in shown(member, address)


def test_the_foot_leads_nowhere_for_somebody_who_has_not_signed_in() -> None:
    assert "/numbers/" not in shown(Client(SERVER_NAME="localhost"), "/account/sign-in/")
