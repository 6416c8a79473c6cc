"""Sites beside each other and operators among others: the rule of procedures, who is named to whom, small numbers."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from random import Random

import pytest
from django.test import Client

from analytics import summaries
from analytics.asking import OF_SITES, ask
from registry.models import Membership, Person, Site, Staff
from registry.recording.exports import export_lines
from registry.terms import Role
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, returns, take
from tests.analytics.invented import MONTHS, SITES, invented_cases
from tests.analytics.page_reading import a_member, few_questions, rows_of, shown, text_of
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

GROUPS = [(2, 40), (9, 60), (5, 55), (12, 80), (3, 30), (18, 70), (6, 90), (10, 100), (1, 45), (14, 50)]
"""Invented events and sizes, phi by type-7 winsorising 3.110785; recomputed, no source."""
TEN = [f"site-{number:02}" for number in range(10)]


def sites_with(*groups: tuple[int, int]) -> None:
    """Sites of which each reports so many cases in so many procedures of one month."""
    codes = TEN[: len(groups)]
    add_sites(*codes)
    take(
        *(
            a_case(a_ladder("wire_stuck: steady_traction=resolved"), id=f"N-{number}", site=code)
            for code, (events, _) in zip(codes, groups, strict=True)
            for number in range(events)
        )
    )
    returns(*(f"{code},2026-03,{size},all_reported," for code, (_, size) in zip(codes, groups, strict=True)))


def funnel_rows(client: Client, name: str = "site-funnel", **query: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, f"/figures/{name}.csv", query))))


def operated_by(code: str, number: int, ladder: str = "wire_stuck: steady_traction=resolved") -> Document:
    staff = [{"person": code, "role": "first_operator"}]
    procedure = {"date": "2026-03-14", "staff": staff}
    return a_case(a_ladder(ladder), id=f"{code}-{number}", procedure=procedure)


def _left(case: Document) -> Document:
    """The same, the device left in place."""
    (complication,) = case["complications"]
    return {**case, "complications": [{**complication, "ending": "left_in_place"}]}


def an_operator(code: str) -> Client:
    """The browser of the operator at north whom cases name by a staff code."""
    client = a_member("north", role=Role.OPERATOR)
    person = Person.objects.get(email="north@sites.example")
    Staff.objects.filter(code=code).update(person=person)
    return client


def test_a_funnel_of_imported_cases_has_the_recomputed_spread_and_limits(db: None) -> None:
    sites_with(*GROUPS)
    page = text_of(shown(a_member("site-05"), "/sites/"))
    assert "10 sites compared with what they have together: 129.0 cases per 1,000 procedures." in page
    assert "phi): 3.11" in page and "go by the widened ones" in page
    assert "about 0.5 of them fall outside limits of 95 % by chance alone" in page
    assert "about 0.02 of them fall outside limits of 99.8 % by chance alone" in page
    found = funnel_rows(a_member("site-07", "site-05"))
    assert [(row["site"], row["cases"], row["procedures"]) for row in found[:2]] == [
        ("Site-05", "18", "70"),
        ("Site-07", "10", "100"),
    ]
    assert float(found[1]["95 % limits: lower"]) == pytest.approx(13.146, abs=0.0006)
    assert float(found[1]["95 % limits: upper"]) == pytest.approx(244.919, abs=0.0006)


def test_other_sites_are_not_named_and_stand_in_no_order_of_rate_or_name(db: None) -> None:
    sites_with(*GROUPS)
    client = a_member("site-05", role=Role.QUALITY_OFFICER)
    page = shown(client, "/sites/")
    assert [attributes["site"] for attributes, _ in rows_of(page, "site")] == ["site-05"]
    for code in set(TEN) - {"site-05"}:
        assert code not in page.lower()
    found = funnel_rows(client)
    assert {row["site"] for row in found[1:]} == {"another site"}
    sizes = [int(row["procedures"]) for row in found[1:]]
    assert sizes == sorted(sizes) and len(sizes) == 9
    picture = shown(client, "/figures/site-funnel.svg")
    assert "Site-05" in picture and "Site-04" not in picture


@pytest.mark.parametrize("role", [Role.OPERATOR, Role.NURSE_OR_FELLOW, Role.PRESENTER])
def test_other_roles_see_their_own_site_alone(db: None, role: Role) -> None:
    sites_with(*GROUPS)
    client = a_member("site-05", role=role)
    page = text_of(shown(client, "/sites/"))
    assert "18 of 70" in page and "There is no funnel" in page and "other site" not in page
    assert client.get("/figures/site-funnel.csv").status_code == 404


def test_fewer_than_five_others_are_in_no_figure(db: None) -> None:
    sites_with(*GROUPS[:5])
    client = a_member("site-01")
    page = text_of(shown(client, "/sites/"))
    assert "4 other sites could be compared: not shown" in page and "not compared" in page
    assert client.get("/figures/site-funnel.csv").status_code == 404
    both = a_member("site-01", "site-02")
    rows = funnel_rows(both)
    assert [row["site"] for row in rows] == ["Site-01", "Site-02"]
    assert "14 of 115" not in text_of(shown(both, "/sites/"))


def test_five_others_in_a_month_are_shown_and_four_in_another_are_not(db: None) -> None:
    sites_with(*GROUPS[:6])
    returns(*(f"{code},2026-04,50,none_happened," for code in TEN[:5]))
    client = a_member("site-00")
    assert len(funnel_rows(client, since="2026-03", until="2026-03")) == 6
    assert client.get("/figures/site-funnel.csv?since=2026-04&until=2026-04").status_code == 404


def test_sites_without_returns_and_withdrawn_ones_are_said(db: None) -> None:
    sites_with(*GROUPS[:7])
    add_sites("silent")
    gone = a_member("site-06")
    Membership.objects.filter(site__code="site-06").update(active=False)
    assert gone.get("/sites/").status_code == 403
    page = text_of(shown(a_member("site-00", "silent"), "/sites/"))
    assert "no return says that everything is reported" in page and "not reported" in page
    assert "1 other site has withdrawn" in page
    add_sites("silent-too")
    assert "2 other sites have no month here" in text_of(shown(a_member("site-01"), "/sites/"))


def test_more_cases_than_procedures_are_to_be_mended_and_not_compared(db: None) -> None:
    sites_with(*GROUPS[:7], (4, 3))
    page = text_of(shown(a_member("site-07"), "/sites/"))
    assert "3 procedures are recorded and 4 cases, so one of the two is wrong" in page
    assert "7 sites compared" in page and "not compared" not in page


def test_counts_of_each_site_are_those_of_the_rate_per_procedure_and_of_endings(db: None) -> None:
    add_sites(*SITES)
    take(*invented_cases(400, seed=31))
    chance = Random(32)
    returns(
        *(
            f"{site},{month},{chance.randint(5, 60)},{chance.choice(('all_reported', 'open', 'none_happened'))},"
            for site in SITES
            for month in MONTHS
            if chance.random() < 0.7
        )
    )
    everything = [json.loads(line) for line in export_lines(EVERYTHING)]
    client = a_member(*SITES)
    for query in ({}, {"since": "2024-05"}, {"since": "2024-03", "until": "2025-06"}):
        found = list(csv.DictReader(io.StringIO(shown(client, "/sites.csv", query))))
        assert [row["name"] for row in found] == sorted(row["name"] for row in found)
        for row in found:
            one = EVERYTHING.narrowed([row["code"]])
            asked = ask({name: [value] for name, value in query.items()}, OF_SITES, {})
            rate = summaries.procedure_rate(one, asked.filters)
            assert (int(row["cases"]), int(row["procedures"])) == (rate.cases, rate.procedures)
            assert row["rate_per_1000"] == f"{rate.rate_per_1000:.6f}"
            assert (row["lower"], row["upper"]) == (f"{rate.lower:.6f}", f"{rate.upper:.6f}")
            period = (query.get("since", "0000") + "-00", query.get("until", "9999-99") + "-99")
            of_site = [case for case in everything if case["site"] == row["code"]]
            ended = recount.endings(of_site, period)
            assert int(row["attempted"]) == sum(int(line[-2]) for line in ended)
            assert int(row["out_after_attempt"]) == sum(int(line[-1]) for line in ended)


def test_a_director_sees_the_operators_of_the_own_site_by_code(north: None) -> None:
    add_sites("south")
    take(
        *(operated_by("p-2", number) for number in range(3)),
        _left(operated_by("p-1", 1, "wire_stuck: steady_traction=unchanged")),
        operated_by("p-1", 2),
        {**operated_by("p-9", 1), "site": "south"},
        a_case(a_ladder("wire_stuck:"), id="nobody"),
    )
    page = shown(a_member("north"), "/sites/")
    rows = [(attributes["operator"], text_of(inside)) for attributes, inside in rows_of(page, "operator")]
    assert [code for code, _ in rows] == ["p-1", "p-2"]
    assert "1 of 2" in rows[0][1] and "3 of 3" in rows[1][1]
    assert not any("%" in row for _, row in rows)
    assert "p-9" not in page and "Case mix is not accounted for" in page
    for role in set(Role) - {Role.LAB_DIRECTOR}:
        assert "p-1" not in shown(_with_role("north", role), "/sites/")


def _with_role(site: str, role: Role) -> Client:
    person = Person.objects.create_user(f"{role}@another.example")
    Membership.objects.create(person=person, site=Site.objects.get(code=site), role=role)
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def test_operators_see_themselves_among_five_others_and_none_of_four(north: None) -> None:
    take(
        *(operated_by("p-1", number) for number in range(6)),
        *(operated_by("p-1", 10 + number, "wire_stuck: steady_traction=unchanged") for number in range(6)),
    )
    client = an_operator("p-1")
    alone = text_of(shown(client, "/sites/"))
    assert "not shown: none of them has an attempt to compare." in alone
    take(*(operated_by(f"p-{other}", number) for other in range(2, 6) for number in range(other)))
    page = text_of(shown(client, "/sites/"))
    # Every ending is out_whole, whatever was tried.
    assert "12 complications in 12 cases name a staff code of yours" in page and "12 of 12" in page
    assert "4 with an attempt, and of fewer than 5 the numbers of one could be told" in page
    assert client.get("/figures/operator-funnel.csv").status_code == 404
    take(_left(operated_by("p-6", 1, "wire_stuck: steady_traction=unchanged")))
    rows = funnel_rows(client, "operator-funnel")
    assert [row["operator"] for row in rows] == ["You", *["another operator"] * 5]
    assert Counter(row["attempted"] for row in rows) == Counter(["12", "1", "2", "3", "4", "5"])
    page = shown(client, "/sites/")
    assert not any(f"p-{other}" in page for other in range(1, 7))


def test_the_page_of_sites_asks_few_questions_and_refuses_filters_in_words(db: None) -> None:
    sites_with(*GROUPS)
    client = a_member("site-05")
    with few_questions():
        shown(client, "/sites/")
    for query, said in (
        ({"since": "2026-03-14"}, "whole months"),
        ({"site": "site-01"}, "no filter of this page"),
        ({"situation": "wire_stuck"}, "no filter of this page"),
    ):
        page = text_of(shown(client, "/sites/", query))
        assert said in page and "18 of 70" not in page
        assert client.get("/sites.csv", query).status_code == 400


def test_a_registry_without_cases_says_so(north: None) -> None:
    page = text_of(shown(a_member("north"), "/sites/"))
    assert "no return says that everything is reported" in page and "There is no funnel" in page
    assert "No case with these filters names its first operator." in page
