"""The list of signals and the page of one: what is watched, whose cases, and what people say of it."""

from __future__ import annotations

import csv
import datetime
import io
import re

import pytest
from django.urls import reverse

from analytics.answers_signals import SignalRule
from analytics.cohorts import Filters
from analytics.models import SignalWord
from analytics.recording import annotate
from analytics.signals import signals
from analytics.views import signals as signals_page
from registry.models import Case, DeviceModel, Site
from registry.recording.sites import give_role
from registry.terms import Role, SignalState
from tests.analytics.builders import EVERYTHING, add_sites, take
from tests.analytics.page_reading import a_member, few_questions, shown, text_of
from tests.analytics.rising import LOT, SUM, a_person, a_rise, an_event, answered, withdrawn

pytestmark = [pytest.mark.data, pytest.mark.django_db]


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


def test_a_long_list_shows_the_newest_tells_how_many_more_are_new_and_opens_whole(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(signals_page, "SHOWN_SIGNALS", 2)
    lots = [
        an_event(100 + 2 * one + two, f"2025-0{4 + one}-02", lot=f"A-{one}")
        for one in range(4)
        for two in (0, 1)
    ]
    a_rise(*lots)
    client = a_member("north")
    whole = [(one.chart.rule, one.chart.subject) for one in signals(EVERYTHING, Filters()).signals]
    listed = re.compile(r'data-rule="([^"]+)" data-subject="([^"]+)"')
    page = shown(client, "/signals/")
    assert listed.findall(page) == whole[:2] and len(whole) > 3
    assert f"{len(whole)} signals, the newest first" in text_of(page)
    assert f"{len(whole) - 2} earlier signals are not shown, {len(whole) - 2} of them new." in text_of(page)
    assert 'href="/signals/?all=yes"' in page
    everything = shown(client, "/signals/", {"all": "yes"})
    assert listed.findall(everything) == whole and "not shown" not in everything


def test_of_many_signals_of_a_device_the_newest_stand_open(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(signals_page, "SHOWN_OTHERS", 2)
    lots = (
        an_event(100 + 2 * one + two, f"2025-0{4 + one}-02", lot=f"A-{one}")
        for one in range(4)
        for two in (0, 1)
    )
    a_rise(*lots)
    page = shown(a_member("north"), "/signals/single_month/W-1/")
    others = page.partition("Other signals of this device")[2].partition("</details>")[0]
    shown_open, earlier = (
        set(re.findall(r'href="(/signals/[^"]+)"', part)) for part in others.split("<details")
    )
    whole = [one.chart for one in signals(EVERYTHING, Filters()).signals]
    addresses = {reverse("signal", args=[one.rule, one.subject]) for one in whole}
    assert len(shown_open) == 2 and len(earlier) == len(whole) - 3 > 1
    assert shown_open | earlier == addresses - {"/signals/single_month/W-1/"}
    assert f"{len(earlier)} earlier ones" in text_of(others)


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


def test_a_crossing_on_the_page_of_a_device_leads_to_its_signal_for_those_who_see_signals(db: None) -> None:
    a_rise()
    client = a_member("north")
    page = shown(client, reverse("device", args=["W-1"]))
    for chart in signals(EVERYTHING, Filters()).watched:
        assert (reverse("signal", args=[chart.rule, chart.subject]) in page) == bool(chart.times)
    withdrawn("E-13")
    withdrawn("E-19")
    withdrawn("E-25")
    assert "/signals/single_month/" not in shown(client, reverse("device", args=["W-1"]))


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
        with few_questions():
            shown(client, address)


def test_new_signals_are_on_the_home_page_of_those_who_answer_them(db: None) -> None:
    a_rise()
    assert "signals to review" in text_of(shown(a_member("north"), "/today/figures/"))
    assert "signals to review" not in text_of(shown(a_person("north", Role.OPERATOR, "o"), "/today/figures/"))
    client = a_person("south", Role.QUALITY_OFFICER, "q")
    for one in signals(EVERYTHING, Filters()).signals:
        answered(client, reverse("signal", args=[one.chart.rule, one.chart.subject]), "explained", "seen", 9)
    assert "to review" not in text_of(shown(client, "/today/figures/"))
