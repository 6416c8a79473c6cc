"""Devices by class and maker, drawn together, as tools of rescue, and how complete their denominators are."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter, defaultdict
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
import time_machine
from django.test import Client
from pytest import approx

from analytics import summaries
from analytics.cohorts import Filters
from analytics.statistics.counts import garwood
from analytics.statistics.proportions import wilson
from analytics.statistics.shrinkage import gamma_poisson
from registry.models import Case
from registry.partial_dates import span
from registry.recording.cases import set_state
from registry.recording.exports import export_lines
from registry.terms import CaseState, Role
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, returns, rows, take, uses
from tests.analytics.invented import CLASSES, SITES, invented_cases, invented_uses
from tests.analytics.page_reading import a_member, few_questions, rows_of, shown, text_of
from tests.analytics.test_worked_sets import set_a, set_c
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

MAKERS = {"W-1": "Tarn", "w-2": "Ostrel", "B-1": "Tarn", "É": "Ostrel"}
TOOLS = ("S-1", "S-2", None)


@pytest.fixture
def everywhere(db: None) -> Client:
    """The browser of somebody who sees all sites, their uses recorded."""
    add_sites(*SITES)
    catalogue(*(f"{MAKERS[model]},{model},A name,{device_class}" for model, device_class in CLASSES.items()))
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in invented_uses(1).items()))
    return a_member(*SITES)


def table(client: Client, address: str, query: Mapping[str, Any]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, address, query))))


def exported() -> list[dict[str, Any]]:
    return [json.loads(line) for line in export_lines(EVERYTHING)]


def grouped(column: int, names: Mapping[str, str]) -> dict[str, list[int]]:
    """The recount of devices added up by one of its columns, or by a name of it: events, secondary, uses, left out."""
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for row in recount.devices(exported(), invented_uses(1), CLASSES):
        group = sums[names.get(row[column], "") if names else row[column]]
        for place, number in enumerate(row[2:]):
            group[place] += int(number)
    return dict(sums)


@pytest.mark.parametrize(("by", "column", "names"), [("class", 1, {}), ("maker", 0, MAKERS)])
def test_classes_and_makers_are_their_models_added_up(
    everywhere: Client, by: str, column: int, names: dict[str, str]
) -> None:
    take(*invented_cases(500, seed=21))
    expected = grouped(column, names)
    found = table(everywhere, "/devices.csv", {"by": by})
    name = "device_class" if by == "class" else "maker"
    figures = ("events", "secondary_events", "uses", "events_left_out")
    assert {row[name]: [int(row[one]) for one in figures] for row in found} == expected
    for row in found:
        events, secondary, opened, _ = expected[row[name]]
        if not opened or (secondary and not events):
            assert row["rate_per_1000"] == row["lower"] == row["upper"] == ""
            continue
        lower, upper = garwood(events, opened)
        assert float(row["rate_per_1000"]) == approx(1000 * events / opened, abs=5e-7)
        assert float(row["lower"]) == approx(1000 * float(lower), abs=5e-7)
        assert float(row["upper"]) == approx(1000 * float(upper), abs=5e-7)
    page = rows_of(shown(everywhere, "/devices/", {"by": by}), "group")
    assert sorted(attributes["group"] for attributes, _ in page) == sorted(expected)
    for attributes, inside in page:
        assert f'<data value="{expected[attributes["group"]][0]}" class="strong">' in inside


def test_kinds_are_the_first_events_by_the_situation_that_they_began_with(everywhere: Client) -> None:
    take(*invented_cases(300, seed=22))
    expected: dict[tuple[str | None, str], Counter[str]] = defaultdict(Counter)
    for case, complication in recount.each(exported(), ("2024-03-01", "2025-06-30")):
        began = (complication.get("began") or {}).get("where")
        first = complication.get("caused_by") is None
        if first and began in (None, "here") and case["procedure"].get("kind") != "none_found_later":
            device = complication["device"]
            model = None if device.get("model") == "unknown" else device.get("model")
            expected[model, CLASSES[model] if model else device["class"]][complication["situation"]] += 1
    _, page = summaries.device_page(EVERYTHING, Filters(span("2024-03"), span("2025-06")))
    assert page.kinds == expected
    assert len(expected) > 5


def test_drawn_rates_stand_beside_the_raw_ones_of_models_that_have_a_rate(everywhere: Client) -> None:
    take(*invented_cases(400, seed=23))
    rated = [row for row in rows("devices") if row["device_model"] and row["rate_per_1000"]]
    fitted = gamma_poisson([int(row["events"]) for row in rated], [int(row["uses"]) for row in rated])
    _, page = summaries.device_page(EVERYTHING, Filters())
    assert page.drawn.groups == len(rated) and page.drawn.method == fitted.method
    drawn = [page.drawn.by_model[row["device_model"]] for row in rated]
    assert [one[0] for one in drawn] == approx(list(1000 * fitted.mean))
    assert [one[2] for one in drawn] == approx(list(1000 * fitted.upper))
    words = text_of(shown(everywhere, "/devices/"))
    assert f"Drawn towards the {len(rated)} models of this page that have a rate" in words
    assert fitted.method in words


def test_without_two_models_nothing_is_drawn_and_the_page_says_so(north: None) -> None:
    catalogue("Tarn,W-1,First wire,guidewire")
    uses("north,W-1,2026-03,100")
    page = shown(a_member("north"), "/devices/")
    assert "No rate is drawn towards others (no prior: fewer than two groups have exposure" in text_of(page)
    assert "drawn-in" not in page


def test_models_that_differ_no_more_than_chance_have_one_drawn_rate_said_once(north: None) -> None:
    catalogue("Tarn,W-1,First wire,guidewire", "Tarn,W-2,Second wire,guidewire")
    uses("north,W-1,2026-03,500", "north,W-2,2026-03,500")
    wire = {"class": "guidewire"}
    take(*(a_case(a_ladder("wire_stuck:", device={**wire, "model": f"W-{n}"}), id=f"N-{n}") for n in (1, 2)))
    page = shown(a_member("north"), "/devices/")
    assert "each is 2.0 (0.24 to 7.2) per 1,000: complete pooling: 2 groups" in text_of(page)
    assert "drawn-in" not in page


def test_set_a_by_class_and_in_the_picture(north: None) -> None:
    """Eggebrecht et al., Catheter Cardiovasc Interv 2000;51:432: 12 of 1,147 and 8 of 2,919; 20 of 4,066 stents."""
    take(*set_a())
    uses("north,PS-HAND,2026-03,1147", "north,PS-PRE,2026-03,2919")
    client = a_member("north")
    (row,) = table(client, "/devices.csv", {"by": "class"})
    assert [row[name] for name in ("device_class", "models", "events", "uses")] == [
        "stent_bare",
        "2",
        "20",
        "4066",
    ]
    assert float(row["rate_per_1000"]) == approx(4.918839, abs=5e-7)
    page = text_of(shown(client, "/devices/"))
    assert "10.5 (5.4 to 18.3)" in page and "2.7 (1.2 to 5.4)" in page
    drawn = table(client, "/figures/device-rates.csv", {})
    assert [(one["Row"], one["Per 1,000"], one["Lower limit"]) for one in drawn] == [
        ("PS-HAND", "10.462075", "5.405907"),
        ("PS-PRE", "2.740665", "1.183224"),
    ]
    picture = shown(client, "/figures/device-rates.svg")
    assert picture.count("<circle") == 2 and "10.5 (5.4 to 18.3)" in picture


@pytest.mark.parametrize(("caused", "events", "secondary"), [(False, 45, 0), (True, 40, 5)])
def test_set_c_counts_devices_and_not_cases(north: None, caused: bool, events: int, secondary: int) -> None:
    """Alexandrou et al., J Invasive Cardiol 2024: 45 devices (21, 11, 8, 5) in 40 cases."""
    take(*set_c(caused=caused))
    client = a_member("north")
    found = table(client, "/devices.csv", {"by": "class"})
    left_out = {row["device_class"]: int(row["events_left_out"]) for row in found}
    assert sum(left_out.values()) == events
    assert sum(int(row["secondary_events"]) for row in found) == secondary
    assert caused or sorted(left_out.values()) == [5, 8, 11, 21]
    page = rows_of(shown(client, "/devices/", {"by": "class"}), "group")
    assert {
        one["group"]: text_of(inside).count("No denominator, so no rate.") for one, inside in page
    } == dict.fromkeys(left_out, 1)


def with_tools(case: Document, seed: int) -> Document:
    """The case with devices named in some of its actions."""
    chance = np.random.default_rng(seed)
    for complication in case["complications"]:
        for action in complication.get("actions") or []:
            number = int(chance.integers(0, 3))
            named = [TOOLS[int(place)] for place in chance.integers(0, 3, number)]
            if named:
                action["devices"] = [
                    {"class": "snare_single_loop", **({"model": model} if model else {})} for model in named
                ]
    return case


def recounted_tools(cases: list[dict[str, Any]], period: recount.Period) -> dict[tuple[str, str], list[int]]:
    """Attempts, resolved, unknown, complications and cases by model and aim, read from the documents."""
    found: dict[tuple[str, str], list[tuple[str, int, str]]] = defaultdict(list)
    for number, (case, complication) in enumerate(recount.each(cases, period)):
        if recount.why_not(case, complication):
            continue
        devices = {
            int(one["position"]): one.get("devices") or [] for one in complication.get("actions") or []
        }
        for attempt in recount.attempts(complication):
            used = {device.get("model") or "" for at in attempt.at for device in devices[at]}
            for model in used:
                found[model, attempt.aim].append((attempt.result, number, f"{case['site']} {case['id']}"))
    counted = {}
    for key, listed in found.items():
        known = [one for one in listed if one[0] != "unknown"]
        resolved = sum(one[0] == "resolved" for one in known)
        distinct = [len({one[place] for one in known}) for place in (1, 2)]
        counted[key] = [len(known), resolved, len(listed) - len(known), *distinct]
    return counted


def test_tools_of_rescue_equal_a_recount_of_the_documents(everywhere: Client) -> None:
    catalogue("Tarn,S-1,Loop,snare_single_loop", "Tarn,S-2,Other loop,snare_single_loop")
    take(*(with_tools(case, number) for number, case in enumerate(invented_cases(500, seed=24))))
    withdrawn = Case.objects.filter(site__code="north")[:20]
    for case in list(withdrawn):
        set_state(
            case, CaseState.WITHDRAWN, version=case.version, reason="entered twice", by=None, source="command"
        )
    columns = ("attempts", "resolved", "unknown", "complications", "cases")
    for query, period in (
        ({}, recount.ALWAYS),
        ({"since": "2024-06", "until": "2025-03"}, ("2024-06", "2025-03-31")),
    ):
        expected = recounted_tools(exported(), period)
        found = table(everywhere, "/devices/rescue.csv", query)
        assert {
            (row["device_model"], row["aim"]): [int(row[c]) for c in columns] for row in found
        } == expected
        for row in found:
            if row["attempts"] != "0":
                lower, upper = wilson(int(row["resolved"]), int(row["attempts"]))
                assert (float(row["lower"]), float(row["upper"])) == approx((lower, upper), abs=5e-7)
        page = rows_of(shown(everywhere, "/devices/rescue/", query), "tool")
        assert sorted((one["tool"], one["aim"]) for one, _ in page) == sorted(expected)
    by_situation = table(everywhere, "/devices/rescue.csv", {"by_situation": "yes"})
    whole = table(everywhere, "/devices/rescue.csv", {})
    assert (
        sum(int(row["attempts"]) for row in by_situation) == sum(int(row["attempts"]) for row in whole) > 100
    )


def test_a_tool_counts_once_in_an_attempt_and_is_in_no_rate_of_failure(north: None) -> None:
    catalogue("Tarn,S-1,Loop,snare_single_loop")
    uses("north,S-1,2026-03,10")
    case = a_case(a_ladder("wire_stuck: snare_single/free=unchanged, echo=done, snare_single/free=resolved"))
    for action in case["complications"][0]["actions"][::2]:
        action["devices"] = [{"class": "snare_single_loop", "model": "S-1"}] * 2
    take(case)
    client = a_member("north")
    ((_, row),) = rows_of(shown(client, "/devices/rescue/"), "tool")
    assert "1 of 1" in text_of(row) and "too few for a percentage" in text_of(row)
    (rate,) = [one for one in table(client, "/devices.csv", {}) if one["device_model"] == "S-1"]
    assert (rate["events"], rate["uses"]) == ("0", "10")


def test_a_site_owes_no_uses_for_months_before_it_began(north: None) -> None:
    add_sites("south")
    catalogue("Tarn,W-1,First wire,guidewire")
    uses("north,W-1,2026-01,5", "north,W-1,2026-04,5", "south,W-1,2026-03,5")
    page = text_of(shown(a_member("north", "south"), "/devices/denominators/"))
    assert "Uses are in for 3 of 6 site-months." in page
    assert "North: February 2026 to March 2026" in page and "South: April 2026" in page


def test_a_month_is_owed_when_it_has_ended_and_not_before(north: None) -> None:
    catalogue("Tarn,W-1,First wire,guidewire")
    uses("north,W-1,2026-01,5")
    take(a_case(a_ladder("wire_stuck:"), id="N-1", procedure={"date": "2026"}))
    with time_machine.travel("2026-04-30T12:00:00Z", tick=False):
        client = a_member("north")
        page = text_of(shown(client, "/devices/denominators/"))
        later = text_of(shown(client, "/devices/denominators/", {"until": "2026-12"}))
    for said in (page, later):
        assert "Uses are in for 1 of 3 site-months." in said
        assert "North: February 2026 to March 2026" in said


def test_returns_that_say_all_is_reported_are_counted_among_those_owed(north: None) -> None:
    add_sites("south")
    catalogue("Tarn,W-1,First wire,guidewire")
    uses("north,W-1,2026-01,5", "north,W-1,2026-04,5", "south,W-1,2026-03,5")
    returns("north,2026-01,90,all_reported,p-001", "south,2026-04,70,none_happened,p-001")
    returns("north,2026-02,90,open,", "north,2026-03,,all_reported,p-001")
    sentence = "Returns say that all is reported, or that none happened, in 2 of 6 site-months."
    client = a_member("north", "south")
    for address in ("/devices/denominators/", "/devices/", "/devices/over-time/"):
        assert sentence in text_of(shown(client, address)), address
    for address in ("/devices/model/W-1/?since=2026-02", "/devices/over-time/?since=2026-02"):
        assert 'href="/devices/denominators/?since=2026-02"' in shown(client, address)
    page = shown(client, "/devices/denominators/")
    assert "North: February 2026 to April 2026 Give the return of February 2026" in text_of(page)
    assert 'href="/administration/returns/north/2026-02/"' in page
    narrowed = text_of(shown(client, "/devices/", {"site": "south", "since": "2026-04", "until": "2026-04"}))
    assert "Returns say that all is reported, or that none happened, in 1 of 1 site-month." in narrowed
    operator = shown(a_member("north", role=Role.OPERATOR), "/devices/denominators/")
    assert "in 1 of 4 site-months" in text_of(operator) and "/administration/returns/" not in operator


def test_the_file_of_denominators_holds_the_months_of_the_page(north: None) -> None:
    add_sites("south")
    catalogue("Tarn,W-1,First wire,guidewire", "Tarn,W-2,Other wire,guidewire")
    uses("north,W-1,2026-01,0", "north,W-2,2026-01,0", "north,W-1,2026-03,5", "south,W-1,2026-03,5")
    returns("north,2026-01,90,all_reported,p-001")
    for number, model in enumerate(("W-1", "W-2", "W-2")):
        device = {"class": "guidewire", "model": model}
        failed = a_ladder("wire_stuck:", device=device)
        take(a_case(failed, id=f"N-{number}", procedure={"date": "2026-01-05"}))
    client = a_member("north", "south")
    found = table(client, "/devices/denominators.csv", {})
    assert [tuple(row.values()) for row in found] == [
        ("north", "2026-01", "yes", "yes", "W-1", "0", "1"),
        ("north", "2026-01", "yes", "yes", "W-2", "0", "2"),
        ("north", "2026-02", "no", "no", "", "", ""),
        ("north", "2026-03", "yes", "no", "", "", ""),
        ("south", "2026-03", "yes", "no", "", "", ""),
    ]
    assert "Uses are in for 3 of 4 site-months." in text_of(shown(client, "/devices/denominators/"))
    query = {"site": "north", "since": "2026-02", "until": "2026-02"}
    assert [tuple(row.values())[:3] for row in table(client, "/devices/denominators.csv", query)] == [
        ("north", "2026-02", "no")
    ]
    assert "/devices/denominators.csv?site=north" in shown(client, "/devices/denominators/", query)
    own = a_member("south", role=Role.OPERATOR)
    assert {row["site"] for row in table(own, "/devices/denominators.csv", {})} == {"south"}
    assert client.get("/devices/denominators.csv?since=yesterday").status_code == 400


def test_who_may_not_give_uses_sees_what_is_missing_without_a_link(north: None) -> None:
    catalogue("Tarn,W-1,First wire,guidewire")
    uses("north,W-1,2026-01,5", "north,W-1,2026-03,5")
    operator = shown(a_member("north", role=Role.OPERATOR), "/devices/denominators/")
    assert "North: February 2026" in text_of(operator) and "Give February 2026" not in operator


@pytest.mark.parametrize("query", ["by=colour", "by=model&by=class"])
def test_a_strange_way_of_putting_together_is_named(north: None, query: str) -> None:
    client = a_member("north")
    page = shown(client, f"/devices/?{query}")
    assert "could not be used" in page and "<table" not in page
    assert client.get(f"/devices.csv?{query}").status_code == 400
    assert client.get(f"/figures/device-rates.csv?{query}").status_code == 400


@pytest.mark.parametrize(
    "address",
    ["/devices/?by=class", "/devices/?site=north", "/devices/rescue/?situation=wire_stuck", "/devices/lots/",
     "/devices/denominators/"],
)  # fmt: skip
def test_pages_of_devices_ask_few_questions(everywhere: Client, address: str) -> None:
    take(*invented_cases(60, seed=25))
    shown(everywhere, address)
    with few_questions():
        shown(everywhere, address)
