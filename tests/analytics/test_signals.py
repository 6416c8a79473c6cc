"""Signals: recomputed from months and documents, the list, one signal, and what people say of it."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Iterator
from random import Random
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from scipy import stats

from analytics import summaries
from analytics.answers_months import MonthlyRecord
from analytics.answers_signals import BETWEEN, SignalRule, Signals
from analytics.cohorts import Filters
from analytics.models import SignalWord
from analytics.recording import annotate
from analytics.signals import signals
from analytics.signals.charts import CLOSE, merged, widest
from analytics.statistics.control import bernoulli_cusum
from registry.access import opened_document
from registry.models import Case, DeviceModel, Membership, Person, Site
from registry.recording.cases import amend_case, set_state
from registry.recording.sites import give_role
from registry.terms import CaseState, Role, SignalState
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, take, uses
from tests.analytics.invented import CLASSES, MONTHS, SITES, invented_cases, invented_uses
from tests.analytics.page_reading import a_member, shown, text_of
from tests.analytics.test_pages import OF_THE_FRAME, QUERIES_OF_A_PAGE
from tests.builders import Document, a_case, a_ladder

pytestmark = [pytest.mark.data, pytest.mark.django_db]

THREE_YEARS = [f"{year}-{month:02}" for year in (2023, 2024, 2025) for month in range(1, 13)]
SUM = "/signals/model_sum/W-1/"
LOT = f"W-1{BETWEEN}L-7"


def an_event(number: int, date: str, site: str = "north", **device: str) -> Document:
    complication = a_ladder("wire_stuck:", device={"class": "guidewire", "model": "W-1", **device})
    return a_case(complication, id=f"E-{number}", site=site, procedure={"date": date})


def a_rise(*more: Document) -> None:
    """Six events in 24 months of 50 uses, then five in one month, the last of them at another site."""
    add_sites("north", "south")
    catalogue("Maker,W-1,First wire,guidewire")
    uses(*(f"{site},W-1,{month},25" for site in ("north", "south") for month in THREE_YEARS))
    usual = [an_event(number, f"{month}-10") for number, month in enumerate(THREE_YEARS[:24:4])]
    rise = [an_event(10 + day, f"2025-05-{day:02}") for day in (3, 9, 15, 21)]
    take(*usual, *rise, an_event(30, "2025-05-27", site="south", lot="S-1"), *more)


def of(found: Signals, rule: SignalRule, subject: str = "W-1") -> Any:
    (chart,) = [one for one in found.charts if (one.rule, one.subject) == (rule, subject)]
    return chart


def a_person(site: str, role: Role, name: str) -> Client:
    person = Person.objects.create_user(f"{name}@{site}.example", name=name)
    Membership.objects.create(person=person, site=Site.objects.get(code=site), role=role)
    client = Client(SERVER_NAME="localhost")
    client.force_login(person, backend="allauth.account.auth_backends.AuthenticationBackend")
    return client


def answered(client: Client, address: str, state: str, words: str, crossings: int = 1) -> Any:
    return client.post(f"{address}answer/", {"state": state, "words": words, "crossings": crossings})


def withdrawn(document_id: str) -> None:
    case = Case.objects.get(document_id=document_id)
    set_state(case, CaseState.WITHDRAWN, version=1, reason="not ours", by=None, source="command")


def with_lots(cases: list[Document], chance: Random) -> list[Document]:
    for case in cases:
        for one in case["complications"]:
            if one["device"].get("model") not in (None, "unknown") and chance.random() < 0.5:
                one["device"]["lot"] = f"L-{chance.randint(1, 12)}"
    return cases


def a_random_registry(seed: int) -> list[Document]:
    add_sites(*SITES)
    catalogue(*(f"Maker,{model},A name,{kind}" for model, kind in CLASSES.items()))
    fewer = {
        (site, model, month): (9 if month < "2025" else 2) * n
        for (site, model, month), n in invented_uses(seed).items()
    }
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in fewer.items()))
    cases = with_lots(invented_cases(150, seed), Random(seed))
    take(*cases)
    return cases


def counted(record: MonthlyRecord) -> list[tuple[datetime.date, int, int]]:
    return [(one.month, len(one.events), one.uses or 0) for one in record.recorded]


def outcomes(record: MonthlyRecord, since: datetime.date) -> Iterator[int]:
    """Use by use: each event the last use of its day, uses spread evenly over the month."""
    for month in record.recorded:
        if month.month < since:
            continue
        length = ((month.month + datetime.timedelta(days=31)).replace(day=1) - month.month).days
        places: list[int] = []
        days = sorted(event.latest.day for event in month.events)
        for number, day in enumerate(days):
            earliest = max((month.uses or 0) * day // length, places[-1] + 1 if places else 1)
            places.append(min(earliest, (month.uses or 0) - (len(days) - 1 - number)))
        yield from (int(use in places) for use in range(1, (month.uses or 0) + 1))


@pytest.mark.parametrize("seed", range(1, 7))
def test_each_signal_of_a_random_registry_is_found_again_from_its_months(seed: int) -> None:
    a_random_registry(seed)
    found = signals(EVERYTHING, Filters())
    for one in found.charts:
        if one.rule in (SignalRule.MODEL_SUM, SignalRule.CLASS_SUM):
            watch = one.watch
            assert watch is not None
            seen = list(outcomes(one.record, watch.since))
            path = bernoulli_cusum(seen, watch.p0, watch.odds_ratio, watch.threshold)
            assert len(path.alarms) == len(one.crossings)
            for alarm, crossed in zip(path.alarms, one.crossings, strict=True):
                start = max(
                    (at for at in range(alarm) if path.path[at] == 0 or at in path.alarms), default=-1
                )
                assert sum(seen[start + 1 : alarm + 1]) == len(crossed.behind)
                assert path.path[alarm] == pytest.approx(crossed.value)
        if one.rule == SignalRule.SINGLE_MONTH:
            base = one.baseline
            assert base is not None
            last = base.last
            rate = base.events / base.uses
            beyond = [
                month
                for month, events, opened in counted(one.record)
                if month > last and events >= 2 and stats.poisson.sf(events - 1, rate * opened) <= 0.00135
            ]
            assert [crossed.event.month for crossed in one.crossings] == beyond
    assert any(one.crossings for one in found.watched)
    assert [one.day for one in found.signals] == sorted((one.day for one in found.signals), reverse=True)


@pytest.mark.parametrize("seed", range(1, 5))
def test_lots_of_two_first_events_are_those_of_the_documents(seed: int) -> None:
    cases = a_random_registry(seed)
    by_lot: dict[tuple[str, str], int] = {}
    for case in cases:
        for one in case["complications"]:
            lot = (one["device"].get("model"), one["device"].get("lot"))
            here = one.get("began", {}).get("where", "here") == "here"
            if (
                lot[1]
                and here
                and not one.get("caused_by")
                and case["procedure"].get("kind") != "none_found_later"
            ):
                by_lot[lot] = by_lot.get(lot, 0) + 1
    expected = {BETWEEN.join(lot): number for lot, number in by_lot.items() if number > 1}
    found = [one for one in signals(EVERYTHING, Filters()).charts if one.rule == SignalRule.ONE_LOT]
    assert {one.subject: len(one.crossings[-1].behind) for one in found} == expected
    assert len(expected) > 5
    assert sum(one.number_of(SignalRule.ONE_LOT) for one in [signals(EVERYTHING, Filters())]) == len(expected)


def test_months_of_a_class_put_together_are_those_asked_of_the_class() -> None:
    a_random_registry(9)
    by_model = summaries.months_by_model(EVERYTHING, Filters())
    wires = merged([record for kind, record in by_model.values() if kind == "guidewire"])
    asked = summaries.months_of(EVERYTHING, Filters(device_class="guidewire"))
    known = {one.month: one for one in asked.months}
    for month in wires.months:
        other = known[month.month]
        assert (month.uses, month.records, len(month.events)) == (
            other.uses,
            other.records,
            len(other.events),
        )


def test_a_rise_crosses_the_sum_and_its_month_with_the_cases_behind_it(db: None) -> None:
    a_rise()
    found = signals(EVERYTHING, Filters())
    (crossed,) = of(found, SignalRule.MODEL_SUM).crossings
    assert [event.latest.day for event in crossed.behind] == [3, 9, 15, 21][: len(crossed.behind)]
    (month,) = of(found, SignalRule.SINGLE_MONTH).crossings
    assert (month.expected, len(month.behind), month.event.month) == (0.25, 5, datetime.date(2025, 5, 1))
    # A chance of 0.00216 of 3 or more and 0.00013 of 4 or more, expecting 0.25: recomputed, no source.
    assert month.limit == 4
    recent = of(found, SignalRule.MODEL_SUM).recent
    assert (recent.events, recent.uses, recent.base_events, recent.base_uses) == (5, 600, 6, 1200)


def test_a_withdrawn_or_amended_case_changes_the_signal(db: None) -> None:
    a_rise()
    withdrawn("E-13")
    (month,) = of(signals(EVERYTHING, Filters()), SignalRule.SINGLE_MONTH).crossings
    assert len(month.behind) == 4
    other = Case.objects.get(document_id="E-19")
    document = opened_document(other)
    document["procedure"] = {"date": "2025-09-19"}
    amend_case(other, document, version=1, reason="read again", by=None)
    assert of(signals(EVERYTHING, Filters()), SignalRule.SINGLE_MONTH).crossings == ()


def a_rare_model(*months: str) -> None:
    add_sites("north")
    catalogue("Maker,W-1,First wire,guidewire")
    uses(*(f"north,W-1,{month},50" for month in THREE_YEARS))
    if months:
        take(*(an_event(number, f"{month}-{10 + number}") for number, month in enumerate(months)))


def test_a_model_without_a_baseline_is_compared_with_all_its_earlier_months(db: None) -> None:
    months = ["2023-05", *THREE_YEARS[26:33]]
    a_rare_model(*months)
    found = signals(EVERYTHING, Filters())
    assert found.unwatched == 0 and not any(one.rule == SignalRule.MODEL_SUM for one in found.charts)
    for last in range(24, 36):
        window, before = THREE_YEARS[last - 11 : last + 1], THREE_YEARS[: last - 11]
        seen, earlier = len(set(window) & set(months)), len(set(before) & set(months))
        share = 12 / (12 + len(before))
        if seen >= 3 and stats.binom.sf(seen - 1, seen + earlier, share) <= 0.016:
            break
    crossed = of(found, SignalRule.LAST_MONTHS).crossings[0]
    assert f"{crossed.event.month:%Y-%m}" == THREE_YEARS[last] < months[-1]
    assert (len(crossed.behind), crossed.within) == (seen, 600)
    assert crossed.before == (earlier, 50 * len(before))
    assert stats.binom.sf(crossed.limit - 2, crossed.limit - 1 + earlier, share) > 0.016


@pytest.mark.parametrize("months", [("2023-05", "2025-06", "2025-07"), ("2025-06",), ()])
def test_few_events_after_few_are_no_signal(db: None, months: tuple[str, ...]) -> None:
    a_rare_model(*months)
    assert not signals(EVERYTHING, Filters()).signals


def test_the_window_of_close_events_is_the_widest_that_chance_fills_once() -> None:
    from analytics.statistics.control import events_within

    width = widest(0.0005, 20_000)
    assert width is not None
    chances = [events_within([], 20_000, CLOSE, m, 0.0005).false_alarm for m in (width, width + 1)]
    assert chances[0] <= 0.6321 < chances[1]
    assert widest(0.4, 20_000) is None


def test_three_events_close_together_of_a_rare_model_are_a_signal(db: None) -> None:
    add_sites("north")
    catalogue("Maker,W-1,First wire,guidewire", "Maker,W-2,Common wire,guidewire")
    uses(
        *(f"north,W-1,{month},40" for month in THREE_YEARS),
        *(f"north,W-2,{month},900" for month in THREE_YEARS),
    )
    common = [an_event(number, f"{month}-10", model="W-2") for number, month in enumerate(THREE_YEARS[:24:3])]
    take(*common, *(an_event(50 + day, f"2025-07-{day:02}") for day in (4, 11, 18)))
    chart = of(signals(EVERYTHING, Filters()), SignalRule.CLOSE_TOGETHER)
    (crossed,) = chart.crossings
    assert len(crossed.behind) == 3
    # The 4th, 11th and 18th of 31 days with 40 uses are uses 5, 14 and 23.
    assert crossed.within == 19
    assert 0 < chart.false_alarms < 0.2


def test_the_list_says_what_is_watched_and_what_chance_alone_would_give(db: None) -> None:
    a_rise()
    client = a_member("north", role=Role.OPERATOR)
    page = text_of(shown(client, "/signals/"))
    assert "First wire: reported more often than its baseline" in page and "New" in page
    assert "Reported, cause not established" in page and "proves nothing" in page
    found = signals(EVERYTHING, Filters())
    assert f"{len(found.watched)} charts are watched" in page
    # Two years after a baseline of 5 per 1,000 at 50 uses a month: far less than one false alarm.
    assert found.expected < 0.2 and ("So fewer than 0.1" in page or f"So {found.expected:.1f} false" in page)
    rows = list(csv.DictReader(io.StringIO(shown(client, "/figures/charts-watched.csv"))))
    assert sum(int(row["crossings"]) for row in rows) == found.came
    assert sum(float(row["false alarms expected"]) for row in rows) == pytest.approx(found.expected, rel=0.01)


def test_one_signal_names_cases_of_other_sites_by_month_alone_and_without_a_link(db: None) -> None:
    a_rise()
    closed = Case.objects.get(document_id="E-30")
    page = shown(a_member("north", role=Role.QUALITY_OFFICER), "/signals/single_month/W-1/")
    assert closed.code not in page and "27 May" not in text_of(page)
    assert "at South, not yours to open" in text_of(page) and "S-1" in page
    assert all(Case.objects.get(document_id=f"E-{10 + day}").code in page for day in (3, 9, 15, 21))
    assert "9 May 2025" in text_of(page)
    assert "9 May 2025" not in text_of(shown(a_member("south"), "/signals/single_month/W-1/"))
    drawn = shown(
        a_member("north", "south"), "/figures/signal-chart.csv", {"rule": "model_sum", "subject": "W-1"}
    )
    assert "2025-05-2" not in drawn and "May 2025" in drawn


def test_annotations_of_ones_own_sites_stand_on_the_chart_and_those_of_others_do_not(db: None) -> None:
    a_rise()
    model = DeviceModel.objects.get(code="W-1")
    for code in ("north", "south"):
        site = Site.objects.get(code=code)
        director = give_role(f"d@{code}.example", site, Role.LAB_DIRECTOR, by=None)
        annotate(site, datetime.date(2025, 5, 2), f"new stock at {code}", model=model, by=director)
    for address in (SUM, "/signals/single_month/W-1/"):
        page = text_of(shown(a_person("north", Role.OPERATOR, address.split("/")[2]), address))
        assert "new stock at north" in page and "new stock at south" not in page


def test_states_are_said_kept_and_new_again_after_a_further_crossing(db: None) -> None:
    a_rise(an_event(40, "2025-02-03", lot="L-7"), an_event(41, "2025-03-04", lot="L-7"))
    director = a_person("north", Role.LAB_DIRECTOR, "Ada")
    officer = a_person("south", Role.QUALITY_OFFICER, "Ben")
    address = reverse("signal", args=["one_lot", LOT])
    assert "Nobody has said anything" in text_of(shown(director, address))
    assert answered(director, address, "being_reviewed", "asked for the others").status_code == 302
    assert answered(officer, address, "explained", "one hand, one day").status_code == 302
    page = text_of(shown(director, address))
    assert "Being reviewed, by Ada" in page and "asked for the others" in page
    assert "Explained, by Ben" in page and "one hand, one day" in page
    listed = {(one.chart.rule, one.chart.subject): one for one in signals(EVERYTHING, Filters()).signals}
    assert listed[SignalRule.ONE_LOT, LOT].state == SignalState.EXPLAINED
    take(an_event(42, "2025-06-05", lot="L-7"))
    page = text_of(shown(director, address))
    assert "Crossed again since the last word" in page and "three first events" in page
    # Somebody whose page still showed one crossing does not answer the second.
    assert answered(officer, address, "acted_on", "set aside", crossings=1).status_code == 302
    assert "Crossed again since the last word" in text_of(shown(director, address))
    assert answered(officer, address, "acted_on", "set aside", crossings=2).status_code == 302
    assert "By Ben, " in text_of(shown(director, address))
    assert SignalWord.objects.count() == 4
    assert not any("one hand" in row.sealed for row in SignalWord.objects.all())


def test_a_signal_that_was_answered_and_crosses_no_more_keeps_its_history(db: None) -> None:
    add_sites("north")
    take(an_event(1, "2025-02-03", lot="L-7"), an_event(2, "2025-03-04", lot="L-7"))
    client = a_member("north")
    address = reverse("signal", args=["one_lot", LOT])
    answered(client, address, "explained", "typed twice")
    withdrawn("E-2")
    page = text_of(shown(client, "/signals/"))
    assert "Answered, and no longer crossed" in page and "typed twice" in page and "No signal" in page
    assert "does not cross any more" in text_of(shown(client, address))


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"state": "explained", "words": "", "crossings": "1"}, "Say what explains it."),
        ({"state": "new", "words": "as it was", "crossings": "1"}, "This is no state that can be chosen."),
        ({"words": "as it was", "crossings": "1"}, "Choose a state."),
        ({"state": "being_reviewed", "words": "as it was"}, "Nothing was added yet"),
        ({"state": "being_reviewed", "words": "as it was", "crossings": "many"}, "Nothing was added yet"),
        ({"state": "acted_on", "words": "as it was" * 300, "crossings": "1"}, "2000"),
        ({"state": "acted_on", "words": "as\u0000 it was", "crossings": "1"}, "Nothing was added yet"),
    ],
)
def test_a_word_that_cannot_be_kept_is_given_back(db: None, sent: dict[str, str], said: str) -> None:
    a_rise()
    client = a_member("north")
    answer = client.post(f"{SUM}answer/", sent)
    page = text_of(answer.content.decode())
    assert answer.status_code == 422 and said in page and sent["words"][:9].replace("\0", "")[:2] in page
    assert not SignalWord.objects.exists()


def test_only_directors_and_quality_officers_answer(db: None) -> None:
    a_rise()
    for role in set(Role) - {Role.LAB_DIRECTOR, Role.QUALITY_OFFICER}:
        client = a_person("north", role, f"a-{role}")
        assert "Directors of a laboratory and quality officers add to it." in text_of(shown(client, SUM))
        assert answered(client, SUM, "explained", "so").status_code == 403
    assert not SignalWord.objects.exists()


def test_what_is_no_signal_is_not_there(db: None) -> None:
    a_rise()
    client = a_member("north")
    for address in ("/signals/model_sum/W-9/", "/signals/nothing/W-1/", "/signals/last_months/W-1/"):
        assert client.get(address).status_code == 404
        assert answered(client, address, "explained", "so").status_code == 404
    for query in ({}, {"rule": "model_sum"}, {"rule": "x", "subject": "W-1"}):
        assert client.get("/figures/signal-chart.csv", query).status_code == 404


def test_filters_of_the_list_are_refused_in_words(db: None) -> None:
    a_rise()
    client = a_member("north")
    for query, said in (
        ({"site": "north"}, "no filter of this page"),
        ({"since": "2025-01"}, "no filter of this page"),
        ({"device_class": "no_such"}, "not in the list"),
    ):
        page = text_of(shown(client, "/signals/", query))
        assert said in page and "First wire" not in page
        assert client.get("/figures/charts-watched.csv", query).status_code == 400
    assert "First wire" in text_of(shown(client, "/signals/", {"device_class": "guidewire"}))
    assert "First wire" not in text_of(shown(client, "/signals/", {"device_class": "filter"}))


def test_an_empty_registry_says_that_nothing_is_watched(north: None) -> None:
    page = text_of(shown(a_member("north"), "/signals/"))
    assert "No chart is watched yet" in page and "No signal" in page


def test_the_pages_of_signals_ask_few_questions(db: None) -> None:
    a_rise(*(an_event(100 + n, f"2025-0{1 + n % 9}-0{1 + n % 8}", lot=f"L-{n % 20}") for n in range(60)))
    client = a_member("north", "south")
    for number, (rule, subject) in enumerate([("model_sum", "W-1"), ("one_lot", LOT), ("one_lot", LOT)]):
        answered(client, reverse("signal", args=[rule, subject]), "being_reviewed", f"word {number}")
    for address in ("/signals/", SUM, reverse("signal", args=["one_lot", LOT])):
        with CaptureQueriesContext(connection) as found:
            shown(client, address)
        asked = [
            one for one in found.captured_queries if not any(word in one["sql"] for word in OF_THE_FRAME)
        ]
        assert len(asked) <= QUERIES_OF_A_PAGE, [one["sql"][:90] for one in asked]


def test_new_signals_are_on_the_home_page_of_those_who_answer_them(db: None) -> None:
    a_rise()
    assert "signals to review" in text_of(shown(a_member("north"), "/today/figures/"))
    assert "signals to review" not in text_of(shown(a_person("north", Role.OPERATOR, "o"), "/today/figures/"))
    client = a_person("south", Role.QUALITY_OFFICER, "q")
    for one in signals(EVERYTHING, Filters()).signals:
        answered(client, reverse("signal", args=[one.chart.rule, one.chart.subject]), "explained", "seen", 9)
    assert "to review" not in text_of(shown(client, "/today/figures/"))


def test_months_of_a_random_registry_are_as_many_as_it_says() -> None:
    a_random_registry(3)
    period = signals(EVERYTHING, Filters()).period
    assert period is not None and f"{period[1]:%Y-%m}" <= MONTHS[-1]
