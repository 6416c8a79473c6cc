"""A device over time: months recounted from the documents, the page, its figures and its files saying the same."""

from __future__ import annotations

import csv
import datetime
import io
import json
import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote_plus

import pytest
from django.test import Client
from django.urls import reverse

from analytics import cohorts, summaries
from analytics.answers import Reason
from analytics.answers_months import Month, MonthlyRecord, Rule
from analytics.filters import Filters
from analytics.summaries.over_time import by_month
from analytics.views import device
from analytics.watching import Baseline
from registry.partial_dates import span
from registry.recording.exports import export_lines
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, cases_of, catalogue, returns, take, uses
from tests.analytics.invented import CLASSES, MONTHS, SITES, invented_cases, invented_uses
from tests.analytics.page_reading import a_member, few_questions, shown, text_of
from tests.analytics.rising import a_rise, an_event
from tests.builders import Document, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

ODD = "W/4 é 50%.."


def all_in(seed: int) -> tuple[list[Any], dict[tuple[str, str, str], int]]:
    """Everything strange, at three sites: the documents as exported, and the uses."""
    add_sites(*SITES)
    catalogue(*(f"Maker,{model},A name,{kind}" for model, kind in CLASSES.items()))
    recorded = invented_uses(seed)
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in recorded.items()))
    take(*invented_cases(400, seed))
    return [json.loads(line) for line in export_lines(EVERYTHING)], recorded


WIRE = "Maker,W-1,A name,guidewire"


def counted(month: Month) -> list[str]:
    return [str(n) for n in (len(month.events), len(month.secondary), month.uses or 0, len(month.left_out))]


def recounted(cases: list[Any], recorded: Any, month: str, keys: set[tuple[str, str]]) -> list[str]:
    """First events, secondary, uses and left out of some models in one month, from the documents."""
    found = recount.devices(cases, recorded, CLASSES, recount.days(month))
    rows = [list(map(int, row[2:])) for row in found if (row[0], row[1]) in keys]
    return [str(sum(column)) for column in zip(*rows, strict=True)] or ["0"] * 4


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_each_month_of_each_model_is_what_the_documents_and_the_uses_say(seed: int) -> None:
    cases, recorded = all_in(seed)
    events = 0
    for model, kind in CLASSES.items():
        record = summaries.months_of(EVERYTHING, Filters(), model)
        by_name = {f"{month.month:%Y-%m}": month for month in record.months}
        for month in MONTHS:
            expected = recounted(cases, recorded, month, {(model, kind)})
            found = counted(by_name[month]) if month in by_name else ["0"] * 4
            assert found == expected, (model, month)
        assert list(by_name) == sorted(by_name)
        events += len(record.events)
    assert events > 30


def test_the_months_of_a_class_and_of_all_are_those_of_their_models_together() -> None:
    cases, recorded = all_in(4)
    every = {(row[0], row[1]) for row in recount.devices(cases, recorded, CLASSES)}
    for kind in (None, "guidewire"):
        record = summaries.months_of(EVERYTHING, Filters(device_class=kind))
        keys = {key for key in every if kind in (None, key[1])}
        for month in record.months:
            assert counted(month) == recounted(cases, recorded, f"{month.month:%Y-%m}", keys)


@pytest.mark.parametrize(
    "query", [{}, {"device_class": "guidewire"}, {"since": "2024-06", "until": "2025-03"}]
)
def test_the_cases_behind_all_models_together_are_each_counted_once(query: dict[str, str]) -> None:
    all_in(8)
    page = text_of(shown(a_member(*SITES), "/devices/over-time/", query))
    since, until = (span(query[name]) if name in query else None for name in ("since", "until"))
    filters = Filters(since=since, until=until, device_class=query.get("device_class"))
    told = cohorts.events_by_day(EVERYTHING, filters)
    assert f"{len({one.case for one in told})} cases in all" in page
    assert len(told) > len({one.case for one in told}) > 10


def test_all_models_at_once_are_each_model_by_itself() -> None:
    all_in(5)
    together = summaries.months_by_model(EVERYTHING, Filters())
    assert set(CLASSES) <= set(together)
    for model, (kind, record) in together.items():
        assert kind == CLASSES[model]
        assert record == summaries.months_of(EVERYTHING, Filters(), model)


def test_a_period_leaves_out_what_may_lie_outside_and_agrees_with_the_rates() -> None:
    all_in(6)
    filters = Filters(since=span("2024-04"), until=span("2025-03"))
    rates = summaries.devices(EVERYTHING, filters)
    for rate in rates.rows:
        if rate.device_model:
            record = summaries.months_of(EVERYTHING, filters, rate.device_model)
            assert (len(record.events), record.uses, record.secondary) == (
                rate.events,
                rate.uses,
                rate.secondary_events,
            )
            reasons = {one.reason: one.count for one in record.left_out}
            reasons.pop(Reason.DATE_PARTLY_KNOWN, None)
            assert sum(reasons.values()) == rate.events_left_out
    everything = summaries.months_of(EVERYTHING, filters)
    assert everything.left_out == rates.left_out
    assert sorted(everything.to_mend, key=str) == sorted(rates.to_mend, key=str)


def test_months_without_uses_are_silent_and_a_recorded_0_is_a_number(north: None) -> None:
    catalogue(WIRE)
    uses("north,W-1,2026-01,40", "north,W-1,2026-03,0", "north,W-1,2026-05,40")
    record = summaries.months_of(EVERYTHING, Filters(), "W-1")
    assert [month.uses for month in record.months] == [40, None, 0, None, 40]
    assert len(record.recorded) == 3


def test_a_site_month_in_error_is_silent_and_its_events_are_left_out(north: None) -> None:
    catalogue(WIRE)
    uses("north,W-1,2026-03,1")
    take(*cases_of(a_wire(), a_wire()))
    record = summaries.months_of(EVERYTHING, Filters(), "W-1")
    assert [(month.uses, len(month.events), len(month.left_out)) for month in record.months] == [(None, 0, 2)]
    assert len(record.to_mend) == 1
    page = text_of(shown(a_member("north"), "/devices/model/W-1/"))
    assert (
        "0 first events in 0 uses, March 2026; 2 cases in all, none is secondary. Left out: 2 events" in page
    )
    assert "North, March 2026: uses recorded 1, first events 2" in page
    assert "Put the uses right" in page
    assert "left out: fewer uses than events in that site and month, an error to mend" in page


def a_wire(model: str = "W-1") -> Document:
    return {**a_ladder("wire_stuck:"), "device": {"class": "guidewire", "model": model}}


def record_of(*months: tuple[int, int]) -> MonthlyRecord:
    """Months in a row of so many uses and events, from 2022 on."""
    found = []
    for which, (opened, events) in enumerate(months):
        month = datetime.date(2022 + which // 12, which % 12 + 1, 1)
        found.append(Month(month, opened, 1, (None,) * events, (), ()))  # type: ignore[arg-type]
    return MonthlyRecord(tuple(found), (), (), ())


def usual(events: int, opened: int) -> Baseline:
    return Baseline(events, opened, datetime.date(2020, 1, 1), datetime.date(2021, 12, 1), 0.0, 1.0)


def test_months_with_five_events_expected_are_a_chart_of_rates() -> None:
    """20 units of 5 with 193 events: limits 0.066133 and 3.793867 a unit (Montgomery, pp. 181-182)."""
    seen = (10, 12, 8, 14, 10, 16, 11, 7, 10, 15, 9, 5, 7, 11, 12, 6, 8, 10, 7, 5)
    found = by_month(record_of(*((5 * 10**6, one) for one in seen)), usual(193, 100 * 10**6))
    assert found.rule == Rule.RATES
    limits = [limit for limit in found.limits if limit]
    assert [limit.expected for limit in limits] == pytest.approx([9.65] * 20)
    assert {limit.upper for limit in limits} == {19}  # 3.793867 x 5 = 18.97, so 19 is beyond
    assert {limit.lower for limit in limits} == {0}  # 0.066133 x 5 = 0.33, so 0 is beyond
    assert not any(limit.beyond for limit in limits)


def test_rarer_events_have_the_exact_limit_of_each_single_month() -> None:
    found = by_month(record_of(*[(100, 0)] * 11, (100, 3), (1000, 3)), usual(12, 6000))
    assert found.rule == Rule.SINGLE_MONTH
    assert [limit.upper for limit in found.limits if limit] == [3] * 12 + [8]
    assert [limit.beyond for limit in found.limits if limit] == [False] * 11 + [True, False]
    assert found.false_alarm is not None and found.false_alarm < 0.00135


def test_events_rarer_than_one_a_year_are_read_by_the_uses_between_them() -> None:
    assert by_month(record_of(*[(10, 0)] * 24), usual(5, 6000)).rule == Rule.USES_BETWEEN
    assert by_month(record_of((10, 0)), None).rule == Rule.NO_BASELINE


def test_the_page_the_csv_and_the_record_hold_the_same_months(north: None) -> None:
    client = a_busy_wire()
    record = summaries.months_of(EVERYTHING, Filters(), "W-1")
    page = shown(client, "/devices/model/W-1/")
    assert re.findall(r'class="(first-events|uses)" value="(\d+)"', page) == [
        ("first-events", str(len(record.events))),
        ("uses", str(record.uses)),
    ]
    rows = table(client, "events-by-month", {"model": "W-1"})
    assert [(row["month"], row["uses"], row["first events"]) for row in rows] == [
        (f"{one.month:%Y-%m}", "" if one.uses is None else str(one.uses), str(len(one.events)))
        for one in record.months
    ]
    # A disc for each first event, whatever the drawing puts around it.
    drawing = page.split('id="events-by-month-title"')[1].split("</svg>")[0]
    assert drawing.count('class="c-dot"') == len(record.events)


def test_a_model_lists_its_latest_events_and_its_csv_has_them_all(
    north: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(device, "SHOWN_EVENTS", 3)
    client = a_busy_wire()
    page = shown(client, "/devices/model/W-1/")
    listed = re.findall(r'<a href="/case/([^/"]+)/">', page.split("The cases behind it")[-1])
    written = client.get(reverse("device_events_csv", args=["W-1"])).content.decode()
    rows = list(csv.DictReader(io.StringIO(written)))
    record = summaries.months_of(EVERYTHING, Filters(), "W-1")
    assert len(rows) == len(record.events) > 3
    assert [row["case"] for row in rows[:3]] == listed
    assert f"The latest 3; {len(rows) - 3} earlier ones only in the CSV." in text_of(page)
    nonsense = client.get(reverse("device_events_csv", args=["W-1"]), {"since": "soon"})
    assert nonsense.status_code == 400


def test_where_only_the_month_of_a_crossing_is_known_no_day_is_told(db: None) -> None:
    a_rise(*(an_event(200 + one, "2025-06") for one in range(4)))
    words = text_of(shown(a_member("north"), "/devices/model/W-1/"))
    record = summaries.months_of(EVERYTHING, Filters(), "W-1")
    watch = summaries.watch_of(record)
    assert watch is not None
    months = [record.events[one.events[-1]] for one in watch.crossings]
    assert any(one.earliest != one.latest for one in months)
    assert "in June 2025" in words and not re.search(r"\d June 2025", words)


def test_the_table_of_the_sum_holds_each_step_and_says_where_it_crossed(north: None) -> None:
    client = a_busy_wire()
    record = summaries.months_of(EVERYTHING, Filters(), "W-1")
    watched = summaries.watch_of(record)
    assert watched is not None and not watched.of_class and watched.crossings
    rows = table(client, "running-sum", {"model": "W-1"})
    steps = [point for point in watched.path if point.event is not None]
    assert [(row["use"], row["the sum after"]) for row in rows] == [
        (str(point.use), f"{point.value:.6f}") for point in steps
    ]
    assert sum(row["crossed"].startswith("yes") for row in rows) == len(watched.crossings)
    said = text_of(shown(client, "/devices/model/W-1/"))
    for words in (
        "set to notice 3 times the odds",
        "asks for a review of the cases behind it; it proves nothing",
        "one false alarm in about",
        "Were it really",
        "at or above its limit",
        f"{watched.baseline.uses:,} uses, January 2024 to December 2024",
    ):
        assert words in said, words


def test_the_sum_keeps_its_history_whatever_the_period_shown(north: None) -> None:
    client = a_busy_wire()
    whole = table(client, "running-sum", {"model": "W-1"})
    assert table(client, "running-sum", {"model": "W-1", "since": "2025-06"}) == whole
    assert len(table(client, "events-by-month", {"model": "W-1", "since": "2025-06"})) == 7
    assert "not those since 2025-06 alone" in text_of(shown(client, "/devices/model/W-1/?since=2025-06"))


def a_busy_wire(*more: str) -> Client:
    """Two years of a wire with one event in each month, and then many; one month was never returned."""
    catalogue(WIRE)
    months = [month for month in MONTHS if month != "2025-02"]
    uses(*(f"north,W-1,{month},200" for month in months), *more)
    documents = []
    for month in months:
        for which in range(6 if month > "2025-08" else 1):
            document = cases_of(a_wire(), procedure={"date": f"{month}-{which + 3:02}"})[0]
            documents.append({**document, "id": f"{month}-{which}"})
    take(*documents)
    return a_member("north")


def table(client: Client, name: str, query: Mapping[str, Any]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(shown(client, f"/figures/{name}.csv", query))))


def test_a_model_with_too_few_events_takes_the_baseline_of_its_class_and_says_so(north: None) -> None:
    catalogue("Maker,W-9,Another,guidewire")
    client = a_busy_wire(*(f"north,W-9,{month},20" for month in MONTHS))
    said = text_of(shown(client, "/devices/model/W-9/"))
    assert "of all models of its class, since this model has too few for one of its own" in said
    assert "It has not crossed" in said


def test_a_model_that_nothing_is_recorded_of_has_a_page_that_says_so(north: None) -> None:
    catalogue(WIRE)
    client = a_member("north")
    said = text_of(shown(client, "/devices/model/W-1/"))
    assert "No event and no use of this model is recorded" in said and "Nothing was left out" in said
    assert client.get("/figures/running-sum.csv?model=W-1").status_code == 404
    assert client.get("/devices/model/nothing/").status_code == 404
    assert client.get("/figures/events-by-month.csv?model=nothing").status_code == 404


def test_a_model_with_uses_and_no_event_has_months_and_no_limit(north: None) -> None:
    catalogue(WIRE)
    uses(*(f"north,W-1,{month},20" for month in MONTHS))
    said = text_of(shown(a_member("north"), "/devices/model/W-1/"))
    assert "0 first events in 480 uses" in said
    assert "No limit is drawn, since nothing says what is usual" in said
    assert "There is no baseline yet" in said


def test_any_code_of_a_model_has_an_address(north: None) -> None:
    catalogue(f"Maker,{ODD},,guidewire", "Maker,..,,guidewire")
    uses(f"north,{ODD},2026-01,20", "north,..,2026-01,30")
    client = a_member("north")
    for code, opened in ((ODD, 20), ("..", 30)):
        address = reverse("device", args=[code])
        assert address.count("/") == 4
        assert f"first events in {opened} uses" in text_of(shown(client, address))
        assert f"model={quote_plus(code)}" in shown(client, address)


@pytest.mark.parametrize(
    "query",
    [
        "since=2026-03-14",
        "since=2026-04&until=2026-01",
        "site=south",
        "situation=wire_stuck",
        "device_class=x",
    ],
)
def test_a_filter_that_cannot_apply_is_refused_in_words(north: None, query: str) -> None:
    catalogue(WIRE)
    uses("north,W-1,2026-01,20")
    client = a_member("north")
    assert "could not be used, so no figures are shown" in text_of(
        shown(client, f"/devices/model/W-1/?{query}")
    )
    assert client.get(f"/figures/events-by-month.csv?model=W-1&{query}").status_code == 400


def test_an_empty_registry_has_a_page_over_time(north: None) -> None:
    said = text_of(shown(a_member("north"), "/devices/over-time/"))
    assert "No event and no use is recorded at these sites" in said


def test_cases_are_counted_in_the_procedures_of_months_reported_whole(north: None) -> None:
    client = a_busy_wire()
    returns(
        *(f"north,{month},100,all_reported," for month in MONTHS[:20]),
        f"north,{MONTHS[20]},100,open,",
    )
    whole = summaries.procedure_rate(EVERYTHING, Filters())
    rows = table(client, "cases-by-month", {})
    assert sum(int(row["cases"]) for row in rows) == whole.cases
    assert sum(int(row["procedures"] or 0) for row in rows) == whole.procedures == 2000
    assert sum(int(row["left out"]) for row in rows) == sum(one.count for one in whole.left_out) > 0
    assert "cases in 2,000 procedures" in text_of(shown(client, "/devices/over-time/"))
    assert "In all procedures" not in shown(client, "/devices/over-time/?device_class=guidewire")


@pytest.mark.parametrize(
    "address", ["/devices/model/W-1/", "/devices/over-time/", "/devices/model/%25C3%2589/"]
)
def test_the_page_asks_a_fixed_number_of_times(address: str) -> None:
    all_in(7)
    client = a_member(*SITES)
    shown(client, address)
    with few_questions(more=1):  # where uses are to be mended, on which days their events were
        shown(client, address)


def test_nobody_reads_the_months_of_another_site(north: None) -> None:
    a_busy_wire()
    add_sites("south")
    catalogue(WIRE)
    said = text_of(shown(a_member("south"), "/devices/model/W-1/"))
    assert "No event and no use of this model is recorded" in said
