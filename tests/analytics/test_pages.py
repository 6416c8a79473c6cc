"""The pages of techniques and devices: the same numbers as their CSV and `answers`, and what stands beside them."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from random import Random
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.cautions import caution
from registry.recording.exports import export_lines
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, rows, take, uses
from tests.analytics.invented import CLASSES, MONTHS, SITES, SITUATIONS, invented_cases, invented_uses
from tests.analytics.page_reading import (
    a_member,
    device_rows,
    few_questions,
    rows_of,
    shown,
    technique_rows,
    text_of,
)
from tests.analytics.test_worked_sets import LOST, set_a
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

STUCK = "wire_stuck: steady_traction=unchanged"
PAGES = ("/techniques/", "/devices/", "/devices/rescue/")
WIDE = "/figures/attempts-by-technique.csv"


@pytest.fixture
def everywhere(db: None) -> Client:
    """The browser of somebody who sees all sites, with the strangest of cases in them."""
    add_sites(*SITES)
    catalogue(*(f"Maker,{model},A name,{device_class}" for model, device_class in CLASSES.items()))
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in invented_uses(1).items()))
    return a_member(*SITES)


def printed_csv(client: Client, address: str, query: Mapping[str, Any]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, address, query))))


def options(query: Mapping[str, Any]) -> list[str]:
    """The options of `answers` that ask for the same."""
    found = [word for code in query.get("site", []) for word in ("--site", code)]
    for name in ("since", "until"):
        if name in query:
            found += [f"--{name}", query[name]]
    return found


def a_period(chance: Random) -> dict[str, str]:
    first, last = sorted(chance.sample(MONTHS, 2))
    return {
        **({"since": first} if chance.random() < 0.5 else {}),
        **({"until": last} if chance.random() < 0.5 else {}),
    }


def some_sites(chance: Random) -> dict[str, list[str]]:
    return {"site": chance.sample(SITES, chance.randint(1, 3))} if chance.random() < 0.6 else {}


def with_a_lesion(case: Document, chance: Random) -> Document:
    """The case with a lesion, at which its complication happened unless that has a place of its own."""
    contents = [{"what": what} for what in ("old_stent", "thrombus") if chance.random() < 0.5]
    lesion = {"ref": "L1", "segments": chance.sample(["9", "9a", "2"], 2), "contents": contents}
    own = chance.choice([{}, {}, {"segments": ["9"]}, {"places": ["ascending_aorta"]}])
    wire = {"wire_class": "polymer_jacketed"} if chance.random() < 0.3 else {}
    (complication,) = case["complications"]
    if complication["device"]["class"] == "guidewire":
        complication = {**complication, "device": {**complication["device"], **wire}}
    return {**case, "lesions": [lesion], "complications": [{**complication, "lesion": "L1", **own}]}


def is_wanted(case: Document, query: Mapping[str, Any]) -> bool:
    """The filters read a second time, from the document."""
    (complication,), (lesion,) = case["complications"], case["lesions"]
    own = "segments" in complication or "places" in complication
    found = {
        "segment": (complication if own else lesion).get("segments", []),
        "contents": [content["what"] for content in lesion.get("contents", [])],
        "device_class": [complication["device"]["class"]],
        "wire_class": [complication["device"].get("wire_class")],
    }
    return all(query[name] in values for name, values in found.items() if name in query)


def check_techniques(
    page: list[dict[str, str]], table: list[dict[str, str]], wide: list[dict[str, str]]
) -> None:
    """Each row of the table stands on the page with the same figures, a rate and limits from 10 attempts.

    The limits are those of the wide table, adjusted for attempts in the same case.
    """
    adjusted = {(row["technique"], row["aim"]): row for row in wide}
    assert sorted((row["technique"], row["aim"]) for row in page) == sorted(
        (row["technique"], row["aim"]) for row in table
    )
    by_key = {(row["technique"], row["aim"]): row for row in table}
    for row in page:
        expected = by_key[row["technique"], row["aim"]]
        for name, value in row.items():
            if name in ("lower", "upper"):
                found = adjusted[row["technique"] or "not recorded", row["aim"]]
                assert value == found[f"{name}, adjusted for cases"]
            elif name not in ("declined", "share"):
                assert value == expected[name], (name, row, expected)
        assert ("share" in row) == (int(expected["attempts"]) >= 10)
        assert ("attempts" in row) == (expected["attempts"] != "0")
        if "share" in row:
            assert row["share"] == f"{int(expected['resolved']) / int(expected['attempts']):.6f}"


def test_techniques_on_the_page_in_the_csv_and_of_answers_are_the_same_numbers(everywhere: Client) -> None:
    take(*invented_cases(900, seed=5))
    chance = Random(6)
    with_a_percentage = 0
    for _ in range(20):
        query = {**some_sites(chance), **a_period(chance), "situation": chance.choice(SITUATIONS)}
        expected = [
            row for row in rows("techniques", *options(query)) if row["situation_faced"] == query["situation"]
        ]
        assert printed_csv(everywhere, "/techniques.csv", query) == expected
        page = technique_rows(shown(everywhere, "/techniques/", query))
        check_techniques(page, expected, printed_csv(everywhere, WIDE, query) if page else [])
        with_a_percentage += sum("share" in row for row in page)
        declined = {
            row["technique"]: row["declined"]
            for row in rows("considered", *options(query))
            if row["situation_faced"] == query["situation"]
        }
        assert all(row["declined"] == declined.get(row["technique"], "0") for row in page)
    assert with_a_percentage > 20


def test_the_csv_by_attempt_is_that_of_answers(everywhere: Client) -> None:
    take(*invented_cases(90, seed=5))
    found = printed_csv(everywhere, "/techniques.csv", {"by_attempt": "yes", "since": "2024-04"})
    assert found == rows("techniques", "--by-attempt", "--since", "2024-04")


def test_filters_of_lesion_and_device_give_a_recount_of_the_documents_that_fit(everywhere: Client) -> None:
    chance = Random(7)
    cases = [case for case in invented_cases(700, seed=8) if len(case["complications"]) == 1]
    take(*(with_a_lesion(case, chance) for case in cases))
    everything = [json.loads(line) for line in export_lines(EVERYTHING)]
    counted = 0
    for _ in range(20):
        choices = {
            "segment": ["9", "9a", "2"],
            "contents": ["old_stent", "thrombus"],
            "device_class": ["guidewire", "snare_single_loop", "unknown"],
            "wire_class": ["polymer_jacketed"],
        }
        names = chance.sample(sorted(choices), chance.randint(1, 2))
        query = {name: chance.choice(choices[name]) for name in names} | some_sites(chance)
        wanted = [
            case for case in everything if case["site"] in query.get("site", SITES) and is_wanted(case, query)
        ]
        found = printed_csv(everywhere, "/techniques.csv", query)
        plain = [[row[name] for name in row if name not in ("lower", "upper")] for row in found]
        assert plain == recount.techniques(wanted), query
        counted += len(plain)
        facing = query | {"situation": "wire_stuck"}
        page = technique_rows(shown(everywhere, "/techniques/", facing))
        wide = printed_csv(everywhere, WIDE, facing) if page else []
        check_techniques(page, [row for row in found if row["situation_faced"] == "wire_stuck"], wide)
    assert counted > 100


def test_devices_on_the_page_in_the_csv_and_of_answers_are_the_same_numbers(everywhere: Client) -> None:
    take(*invented_cases(500, seed=9))
    chance = Random(10)
    drawn = 0
    for number in range(20):
        query: dict[str, Any] = {**some_sites(chance), **a_period(chance)}
        expected = rows("devices", *options(query))
        if number % 2:
            query["device_class"] = chance.choice(["guidewire", "snare_single_loop", "unknown"])
            expected = [row for row in expected if row["device_class"] == query["device_class"]]
        assert printed_csv(everywhere, "/devices.csv", query) == expected
        page = device_rows(shown(everywhere, "/devices/", query))
        by_key = {(row["device_model"], row["device_class"]): row for row in expected}
        assert len(page) == len(by_key)
        for row in page:
            whole = by_key[row.pop("model"), row.pop("class")]
            assert row == {name: whole[name] for name in row}
            assert ("upper" in row) == bool(whole["upper"])
            assert ("events_left_out" in row) == (whole["events_left_out"] != "0")
            drawn += "rate_per_1000" in row
    assert drawn > 20


def test_set_a_stands_on_the_page(north_only: Client) -> None:
    """Eggebrecht et al., Catheter Cardiovasc Interv 2000;51:432: small balloon 7 of 10, forceps or snare 3 of 7."""
    take(*set_a())
    page = shown(north_only, "/techniques/", {"situation": LOST})
    read = [text_of(inside) for _, inside in rows_of(page, "technique")]
    assert [attributes["technique"] for attributes, _ in rows_of(page, "technique")] == [
        "forceps",
        "snare_single",
        "small_balloon_through_stent",
        "crush_with_stent",
    ]
    assert "7 of 10" in read[2] and "70% (40% to 89%)" in read[2]
    assert "1 of 3" in read[0] and "too few for a percentage" in read[0]
    assert "1st: 1 of 2 · 2nd: 0 of 1" in read[0]
    assert "18 complications in 18 cases, North, no operator named, March 2026." in text_of(page)
    assert all("%" not in row for row in (read[0], read[1], read[3]))


def test_the_choice_of_a_situation_says_how_many_complications_met_it(north_only: Client) -> None:
    take(
        a_case(
            a_ladder("wire_stuck: steady_traction=worse>wire_unravelled, steady_traction=unchanged"), id="N-1"
        ),
        a_case(a_ladder("wire_stuck:"), id="N-2"),
        a_case(a_ladder("wire_unravelled: echo"), a_ladder("wire_unravelled: echo"), id="N-3"),
    )
    page = text_of(shown(north_only, "/techniques/"))
    assert "Wire stuck 2 complications" in page
    assert "Wire unravelled 3 complications" in page
    for situation, resting in (
        ("wire_stuck", "2 complications in 2"),
        ("wire_unravelled", "3 complications in 2"),
    ):
        assert f"{resting} cases" in text_of(shown(north_only, "/techniques/", {"situation": situation}))


def test_a_cohort_without_attempts_says_what_was_left_out_and_why(north_only: Client) -> None:
    take(a_case(a_ladder(STUCK), status="short"))
    page = text_of(shown(north_only, "/techniques/", {"situation": "wire_stuck"}))
    assert "No attempt" in page
    assert page.count("1 complication (short record, its actions are not abstracted)") == 2


@pytest.mark.parametrize("address", [*PAGES, "/techniques/?situation=wire_stuck"])
def test_an_empty_registry_says_so(north_only: Client, address: str) -> None:
    page = shown(north_only, address)
    assert "<table" not in page
    assert "Nothing was left out." in text_of(page)


W = {"model": "W-1", "class": "guidewire"}
WRONG = {
    "situation=wire_stuk": "Situation, “wire_stuk”: not in the list. Allowed: a code of the list “Situations”, such as"
    " wire_stuck (wire stuck)",
    "situation=closed": "Situation, “closed”: not in the list",
    "since=2024-13": "Since, “2024-13”: there is no month 13. Allowed: YYYY-MM for a whole month",
    "since=2024&until=2023": "Since, “2024”: not a day or a month",
    "since=2025-01&until=2024-01": "Since and until, “2025-01 to 2024-01”: the period ends before it begins",
    "since=2025-01&since=2025-02": "Since, “2025-01” and “2025-02”: given 2 times. Allowed: one value",
    "site=south": "Sites, “south”: not a site of yours. Allowed: north",
    "site=%00": "Sites, “\0”: not a site of yours",
    "segment=%F0%9F%98%80": "Segment, “\U0001f600”: not in the list",
    "colour=blue": "“colour” in the address, “blue”: no filter of this page. Allowed: site, since, until",
}


@pytest.mark.parametrize("query", WRONG)
def test_nonsense_in_a_filter_is_named_and_nothing_is_lost(north_only: Client, query: str) -> None:
    add_sites("south")
    take(a_case(a_ladder(STUCK)))
    page = shown(north_only, f"/techniques/?{query}&contents=old_stent")
    assert WRONG[query].replace("\0", "") in text_of(page).replace("\0", "")
    assert '<option value="old_stent" selected>' in page
    assert "situation" not in query or '<option value="wire_knotted">Wire knotted</option>' in page
    assert "<table" not in page
    answer = north_only.get(f"/techniques.csv?{query}")
    assert answer.status_code == 400
    assert WRONG[query] in answer.content.decode()


def test_devices_take_whole_months_and_no_filter_without_a_denominator(north_only: Client) -> None:
    for query, message in (
        ("since=2024-01-15", "since 2024-01-15 is not the start of a month"),
        ("until=2024-01-15", "until 2024-01-15 is not the end of a month"),
        ("contents=old_stent", "uses are not recorded so, and there would be no rate"),
    ):
        page = shown(north_only, f"/devices/?{query}")
        assert message in text_of(page)
        assert "<table" not in page
        assert north_only.get(f"/devices.csv?{query}").status_code == 400


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("address", [*PAGES, "/techniques/?situation=wire_stuck"])
def test_a_page_of_several_answers_is_of_one_moment(address: str) -> None:
    """Outside a transaction of the tests, where each answer would begin a moment of its own."""
    add_sites("north")
    take(a_case(a_ladder(STUCK)))
    client = a_member("north")
    with CaptureQueriesContext(connection) as asked:
        shown(client, address)
    assert [one["sql"].split()[0] for one in asked.captured_queries].count("BEGIN") == 1


def test_a_person_sees_only_the_own_sites(north: None) -> None:
    add_sites("south")
    catalogue("Maker,W-1,First wire,guidewire")
    uses("south,W-1,2026-03,1000", "north,W-1,2026-03,10")
    take(*(a_case(a_ladder(STUCK, device=W), id=f"N-{number}", site="south") for number in range(3)))
    take(a_case(a_ladder(STUCK, device=W), id="N-9"))
    client = a_member("north")
    assert [row["attempts"] for row in printed_csv(client, "/techniques.csv", {})] == ["1"]
    assert [row["uses"] for row in printed_csv(client, "/devices.csv", {})] == ["10"]
    page = shown(client, "/techniques/", {"situation": "wire_stuck"})
    assert "0 of 1" in text_of(page) and "South" not in page
    assert "1 complication in 1 case, North" in text_of(shown(client, "/devices/"))


@pytest.mark.parametrize("address", [*PAGES, "/techniques.csv", "/devices.csv"])
def test_nobody_unsigned_sees_a_figure(address: str) -> None:
    answer = Client(SERVER_NAME="localhost").get(address)
    assert answer.status_code == 302
    assert "/account/sign-in/" in answer["Location"]


@pytest.mark.parametrize(
    "address", ["/techniques/", "/techniques/?situation=wire_stuck", "/techniques/?site=x"]
)
def test_techniques_carry_the_cautions(north_only: Client, address: str) -> None:
    take(a_case(a_ladder(STUCK)))
    page = text_of(shown(north_only, address))
    assert caution("observational") in page
    assert caution("trained_teams") in page
    assert "Unadjusted for the order of attempts" in page


def test_the_methods_of_the_limits_are_named(north_only: Client) -> None:
    take(a_case(a_ladder(STUCK)))
    page = text_of(shown(north_only, "/techniques/", {"situation": "wire_stuck"}))
    assert "Limits: Wilson, adjusted for attempts in the same case (Saha, Miller & Wang), 95 %." in page
    assert (
        "Limits as if each attempt were a case of its own: 0.000 to 0.793 (Wilson), 0.000 to 0.975 (exact"
        in page
    )
    assert "Limits: exact Poisson (Garwood), 95 %" in text_of(shown(north_only, "/devices/"))


@pytest.mark.parametrize("address", [*PAGES, "/techniques/?situation=wire_stuck&site=north&segment=2"])
def test_a_page_asks_for_its_figures_a_fixed_number_of_times(everywhere: Client, address: str) -> None:
    take(*invented_cases(60, seed=11))
    shown(everywhere, address)
    with few_questions() as few:
        shown(everywhere, address)
    take(*invented_cases(300, seed=12), amend="more of them")
    with CaptureQueriesContext(connection) as many:
        shown(everywhere, address)
    assert len(many) == len(few)
