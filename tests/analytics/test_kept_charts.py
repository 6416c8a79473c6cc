"""The charts of a large registry are read from its snapshot; one signal is drawn as the record stands now."""

from __future__ import annotations

import datetime
import json
import math

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from pytest_django.fixtures import Settings

from analytics import snapshots
from analytics.answers import Reason
from analytics.answers_months import DeviceEvent
from analytics.answers_signals import BETWEEN, Chart, Recent, SignalRule
from analytics.cohorts import Filters, kept
from analytics.models import Snapshot
from analytics.signals import drawn_now, kept_charts, signals
from analytics.signals.charts import charts_of, lots_of
from analytics.signals.kept_charts import Watched
from analytics.summaries import months_by_model
from analytics.watching import Baseline
from registry.access import Scope
from registry.models import DeviceModel, Site
from tests.analytics.builders import EVERYTHING, take
from tests.analytics.page_reading import a_member, few_questions, shown, text_of
from tests.analytics.rising import SUM, a_rise, an_event, answered, withdrawn
from tests.analytics.test_signals import a_random_registry
from tests.analytics.test_snapshots import BY_A_WORKER

data = pytest.mark.data

MONTH = "/signals/single_month/W-1/"


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(snapshots, "LARGE", 1)


days = st.dates(datetime.date(1990, 1, 1), datetime.date(2100, 1, 1))
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
numbers = st.integers(0, 10**9)
shares = st.floats(0, 1)
events = st.builds(
    DeviceEvent, *(texts, texts), texts | st.none(), days | st.none(), days, days, st.booleans(),
    *(texts, texts), texts | st.none(), st.sampled_from(Reason) | st.none(),
)  # fmt: skip
charts = st.builds(
    Chart,
    rule=st.sampled_from(SignalRule),
    subject=texts | st.tuples(texts, texts).map(BETWEEN.join),
    name=texts,
    device_class=texts,
    months=st.tuples(days, days) | st.none(),
    baseline=st.builds(Baseline, numbers, numbers, days, days, shares, shares) | st.none(),
    false_alarms=st.floats(0, 1e6),
    times=numbers,
    last=events | st.none(),
    behind=numbers,
    recent=st.builds(Recent, numbers, numbers, numbers, numbers, shares, shares) | st.none(),
)


@given(st.lists(charts, max_size=4), numbers)
def test_what_is_written_is_read_again(found: list[Chart], unwatched: int) -> None:
    text = kept_charts.written(Watched(found, unwatched))
    again = kept_charts.read(text)
    assert again is not None and again == Watched(found, unwatched)
    assert [type(one.rule) for one in again.charts] == [SignalRule] * len(found)
    assert kept_charts.written(again) == text


@data
@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(1, 4))
def test_charts_that_are_kept_are_those_counted_live(seed: int, large: None) -> None:
    a_random_registry(seed)
    snapshots.rebuild()
    with kept.reading():
        read = signals(EVERYTHING, Filters())
    assert read == signals(EVERYTHING, Filters())
    assert any(one.recent for one in read.charts) and any(one.last for one in read.watched)
    assert all(math.isfinite(one.false_alarms) for one in read.charts)


@data
@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(1, 4))
def test_a_chart_drawn_alone_is_the_one_among_all(seed: int) -> None:
    a_random_registry(seed)
    found = signals(EVERYTHING, Filters())
    records = months_by_model(EVERYTHING, Filters())
    crossings = {one.chart.key: one.crossings for one in (*charts_of(records), *lots_of(records))}
    for one in found.charts:
        alone = drawn_now(EVERYTHING, *one.key, found.charts)
        assert (alone.chart, alone.crossings) == (one, crossings[one.key])
    assert {one.rule for one in found.charts} >= {
        SignalRule.MODEL_SUM,
        SignalRule.CLASS_SUM,
        SignalRule.ONE_LOT,
    }


@data
@pytest.mark.django_db
def test_only_the_whole_registry_without_a_filter_is_read_from_the_snapshot(large: None) -> None:
    a_rise()
    snapshots.rebuild()
    withdrawn("E-13")
    sites = Scope(frozenset(Site.objects.values_list("pk", flat=True)))
    with kept.reading():
        then = signals(EVERYTHING, Filters())
        others = [signals(sites, Filters()), signals(EVERYTHING, Filters(device_class="guidewire"))]
    now = signals(EVERYTHING, Filters())
    assert then != now
    assert others == [now, now]


@data
@pytest.mark.django_db
def test_text_of_an_earlier_shape_is_not_read(large: None) -> None:
    a_rise()
    snapshots.rebuild()
    row = Snapshot.objects.get(name=kept_charts.NAME)
    held = json.loads(row.content)
    held["shape"][0].append("one_more")
    Snapshot.objects.filter(pk=row.pk).update(content=json.dumps(held))
    live = signals(EVERYTHING, Filters())
    with kept.reading():
        assert signals(EVERYTHING, Filters()) == live
    row.delete()
    with kept.reading():
        assert signals(EVERYTHING, Filters()) == live


@data
@pytest.mark.django_db
def test_names_and_words_are_never_those_of_the_snapshot(large: None) -> None:
    a_rise()
    snapshots.rebuild()
    DeviceModel.objects.filter(code="W-1").update(name="Renamed wire")
    client = a_member("north")
    assert answered(client, SUM, "being_reviewed", "asked for the others").status_code == 302
    page = text_of(shown(client, "/signals/"))
    assert "Renamed wire: reported more often" in page and "asked for the others" in page


@data
@pytest.mark.django_db
def test_the_list_and_its_file_say_as_of_when(large: None) -> None:
    a_rise()
    client = a_member("north")
    snapshots.rebuild()
    then = shown(client, "/figures/charts-watched.csv")
    assert "no changes since" in text_of(shown(client, "/signals/"))
    take(an_event(60, "2025-06-02"), an_event(61, "2025-06-03"), an_event(62, "2025-06-04"))
    answer = client.get("/figures/charts-watched.csv")
    assert answer.content.decode() == then and "charts-watched-as-of-" in answer["Content-Disposition"]
    assert shown(client, "/figures/charts-watched.csv") != then, "a new one was asked for and made"
    assert "As of" not in text_of(shown(client, "/signals/", {"device_class": "guidewire"}))


@data
@pytest.mark.django_db
def test_the_home_page_reads_new_signals_from_the_snapshot(large: None) -> None:
    a_rise()
    client = a_member("north")
    snapshots.rebuild()
    Snapshot.objects.filter(name=kept_charts.NAME).update(content=kept_charts.written(Watched([], 0)))
    assert "to review" not in text_of(shown(client, "/today/figures/"))
    snapshots.rebuild()
    assert "signals to review" in text_of(shown(client, "/today/figures/"))


@data
@pytest.mark.django_db
def test_a_signal_that_crosses_since_the_snapshot_is_there(large: None) -> None:
    a_rise()
    withdrawn("E-13")
    withdrawn("E-19")
    snapshots.rebuild()
    take(*(an_event(80 + day, f"2025-10-{day:02}") for day in (3, 9, 15, 21, 27)))
    client = a_member("north")
    page = text_of(shown(client, MONTH))
    assert "27 October 2025" in page and "5 cases behind it" in page
    assert "5 changes since" in page and "This signal itself is counted at once" in page


@data
@pytest.mark.django_db
def test_a_signal_that_crosses_no_more_since_the_snapshot_says_so_and_takes_no_word(
    large: None, settings: Settings
) -> None:
    settings.TASKS = BY_A_WORKER
    a_rise()
    snapshots.rebuild()
    for case in ("E-13", "E-19"):
        withdrawn(case)
    client = a_member("north")
    assert reverse("signal", args=["single_month", "W-1"]) in shown(client, "/signals/")
    page = text_of(shown(client, MONTH))
    assert "does not cross any more" in page and "2 changes since" in page
    assert "Nothing is taken out of the history" not in page
    assert answered(client, MONTH, "explained", "so").status_code == 404
    snapshots.rebuild()
    assert client.get(MONTH).status_code == 404


@data
@pytest.mark.django_db
def test_the_pages_of_signals_ask_few_questions_of_a_snapshot(large: None) -> None:
    a_rise(*(an_event(100 + n, f"2025-0{1 + n % 9}-0{1 + n % 8}", lot=f"L-{n % 20}") for n in range(60)))
    snapshots.rebuild()
    client = a_member("north", "south")
    for address in ("/signals/", SUM, MONTH):
        with few_questions():
            assert "As of" in shown(client, address)
