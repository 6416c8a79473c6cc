"""The list of cases: found by its filters, paged without gaps, and only one's own sites'."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from deploy import frame
from registry.models import Case
from registry.reading import listing
from registry.terms import CaseState, Role
from tests.builders import a_ladder
from tests.registry.views.readers import body, in_state, recorded_case, signed_in

pytestmark = pytest.mark.django_db

STENT = a_ladder(
    "stent_off_balloon_on_wire: small_balloon_through_stent=unchanged, crush_with_stent=resolved",
    device={"class": "stent_drug_eluting"},
    ending="crushed_in_place",
    segments=["2"],
)
MOST_STATEMENTS = 12


@pytest.fixture
def operator() -> Client:
    return signed_in(Role.OPERATOR)


def listed(client: Client, query: str = "") -> list[str]:
    """The public codes on a page of the list, from first to last."""
    response = client.get(f"/cases/{query}")
    assert response.status_code == 200
    return re.findall(r'href="/case/(\w+)/"', body(response))


def all_pages(client: Client, query: str = "") -> list[str]:
    """The public codes of every page, each page reached from the one before it."""
    found, address = [], f"/cases/{query}"
    while address:
        text = body(client.get(address))
        found += re.findall(r'href="/case/(\w+)/"', text)
        further = re.search(r'href="([^"]+)" rel="next"', text)
        address = further[1].replace("&amp;", "&") if further else ""
    return found


def test_a_row_says_what_where_when_how_it_ended_and_what_came_of_each_attempt(operator: Client) -> None:
    case = recorded_case(STENT, procedure={"date": "2026-03-14"})
    text = body(operator.get("/cases/"))
    for said in (
        "Stent off its balloon in the mid right coronary",
        case.code,
        "North",
        "14 Mar 2026",
        "Crushed in place",
    ):
        assert said in text
    assert re.findall(r"#(unchanged|resolved)\"", text) == ["unchanged", "resolved"]
    assert re.findall(r"</svg> (unchanged|resolved)", text) == ["unchanged", "resolved"]


def test_the_newest_case_stands_first(operator: Client) -> None:
    old = recorded_case(id="A", procedure={"date": "2024-01-01"})
    new = recorded_case(id="B", procedure={"date": "2026-01-01"})
    middle = recorded_case(id="C", procedure={"date": "2025-06"})
    assert listed(operator) == [new.code, middle.code, old.code]


def test_pages_miss_no_case_and_show_none_twice_though_many_have_the_same_date(operator: Client) -> None:
    days = ("2026-03-14", "2026-03", "2026-03-01")
    codes = {
        recorded_case(id=f"N-{number}", procedure={"date": days[number % 3]}).code for number in range(60)
    }
    found = all_pages(operator)
    assert len(found) == len(set(found)) == 60
    assert set(found) == codes


def test_filters_are_kept_from_page_to_page(operator: Client) -> None:
    for number in range(30):
        recorded_case(id=f"W-{number}")
    stents = {recorded_case(STENT, id=f"S-{number}").code for number in range(27)}
    assert set(all_pages(operator, "?device=stent_drug_eluting")) == stents


@pytest.mark.parametrize(
    "query",
    [
        "?device=stent_drug_eluting",
        "?situation=stent_off_balloon_on_wire",
        "?ending=crushed_in_place",
        "?since=2026-03-10&until=2026-03-20",
        "?since=2026-03&until=2026-03",
        "?status=short",
        "?state=locked",
        "?q=the-one",
        "?q=HE-ON",
    ],
)
def test_each_filter_leaves_the_one_case_that_is_meant(operator: Client, query: str) -> None:
    acts = {key: value for key, value in STENT.items() if key != "actions"}
    one = recorded_case(acts, id="the-one", status="short", procedure={"date": "2026-03-14"})
    in_state(one, CaseState.LOCKED)
    recorded_case(id="another", status="full", procedure={"date": "2026-01-05"})
    assert listed(operator, query) == [one.code]


def test_a_record_that_does_not_say_whether_it_is_full_is_a_full_one(operator: Client) -> None:
    silent = recorded_case(id="A")
    full = recorded_case(id="B", status="full")
    recorded_case(id="C", status="unknown")
    assert set(listed(operator, "?status=full")) == {silent.code, full.code}


@pytest.mark.parametrize("typed", ["{code}", "{lower}", "{half}-{rest}", " {half} {rest} ", "{half}"])
def test_a_case_is_found_by_its_code_however_it_is_typed(operator: Client, typed: str) -> None:
    case = recorded_case()
    recorded_case(id="another")
    code = case.code
    query = typed.format(code=code, lower=code.lower(), half=code[:4], rest=code[4:])
    response = operator.get("/cases/", {"q": query})
    assert re.findall(r'href="/case/(\w+)/"', body(response)) == [code]


def test_a_partly_known_date_is_in_a_period_only_where_all_that_it_may_mean_is(operator: Client) -> None:
    case = recorded_case(procedure={"date": "2026-03"})
    assert listed(operator, "?since=2026-03&until=2026-03-31") == [case.code]
    assert listed(operator, "?since=2026-03-02") == []
    assert listed(operator, "?until=2026-03-30") == []


@pytest.mark.parametrize(
    ("query", "label", "value", "allowed"),
    [
        ("since=2026-13", "From", "2026-13", "2026-03"),
        ("until=yesterday", "To", "yesterday", "2026-03-14"),
        ("since=2026", "From", "2026", "a month such as 2026-03"),
        ("device=guidewyre", "Device", "guidewyre", "guidewire"),
        ("situation=closed", "Situation at first", "closed", "one of the list"),
        ("ending=%3Cb%3E", "Ending", "&lt;b&gt;", "one of the list"),
        ("state=lost", "State", "lost", "submitted, locked and withdrawn"),
        ("status=long", "Record", "long", "full"),
        ("site=elsewhere", "Site", "elsewhere", "north"),
        ("since=2026-05&until=2026-03", "To", "2026-03", "not before 2026-05"),
        ("after=last", "Page", "last", "the first page"),
    ],
)
def test_nonsense_in_a_filter_is_named_with_what_is_allowed_and_the_rest_is_kept(
    operator: Client, query: str, label: str, value: str, allowed: str
) -> None:
    stent = recorded_case(STENT, id="stent-1", procedure={"date": "2026-06-01"})
    recorded_case(id="W", procedure={"date": "2026-06-01"})
    kept = "q=stent-1" if query.startswith("device") else "device=stent_drug_eluting"
    response = operator.get(f"/cases/?{query}&{kept}")
    text = body(response)
    assert response.status_code == 200
    assert re.search(rf"<li>{label}: “{re.escape(value)}”\. Allowed is [^<]*{re.escape(allowed)}", text)
    assert re.findall(r'href="/case/(\w+)/"', text) == [stent.code]


@pytest.mark.parametrize("typed", ["\0", "%", "'", "x" * 5000, "\u202e", "０１２"])
@pytest.mark.parametrize(
    "name", ["q", "site", "since", "until", "device", "situation", "ending", "state", "after"]
)
def test_no_filter_breaks_the_page(operator: Client, name: str, typed: str) -> None:
    recorded_case()
    assert operator.get("/cases/", {name: typed}).status_code == 200


def test_cases_of_other_sites_are_not_listed_nor_found(operator: Client) -> None:
    own, other = recorded_case(), recorded_case(id="H-1", site="harbour")
    assert listed(operator) == [own.code]
    assert listed(operator, f"?q={other.code}") == []
    assert own.code in listed(operator, "?site=harbour")
    assert other.code not in listed(operator, "?site=harbour")


def test_what_is_not_usual_about_a_case_is_said_in_words_beside_a_shape(operator: Client) -> None:
    in_state(recorded_case(id="A"), CaseState.WITHDRAWN)
    in_state(recorded_case(id="B"), CaseState.LOCKED)
    text = body(operator.get("/cases/"))
    assert re.search(r"</svg> withdrawn", text)
    assert re.search(r"</svg> locked", text)


def test_more_cases_than_are_counted_are_said_to_be_more(
    operator: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listing, "COUNTED_TO", 3)
    for number in range(4):
        recorded_case(id=f"N-{number}")
    assert "More than 3 cases, newest first" in body(operator.get("/cases/"))
    assert "1 case with these filters" in body(operator.get("/cases/?q=N-3"))


def statements(client: Client, address: str) -> int:
    """How many statements a page takes, once what is remembered between pages is there."""
    client.get(address)
    with CaptureQueriesContext(connection) as taken:
        assert client.get(address).status_code == 200
    return len(taken)


def test_a_page_takes_as_many_statements_for_twenty_five_cases_as_for_one(operator: Client) -> None:
    first = recorded_case(STENT, id="S-0")
    alone = statements(operator, "/cases/")
    for number in range(1, 27):
        recorded_case(STENT, id=f"S-{number}")
    assert statements(operator, "/cases/") == alone
    assert statements(operator, f"/cases/?after=2026-03-15_{first.code}") == alone
    assert Case.objects.count() == 27


def test_the_list_takes_few_statements_beside_those_of_the_frame(
    operator: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frame, "_places", lambda request: [])
    recorded_case(STENT)
    assert statements(operator, "/cases/") <= MOST_STATEMENTS
