"""Signals: recomputed from months and documents, by each rule."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from math import ceil
from random import Random

import pytest
from scipy import stats

from analytics import summaries
from analytics.answers_months import MonthlyRecord
from analytics.answers_signals import BETWEEN, Chart, SignalRule
from analytics.cohorts import Filters
from analytics.figures.one_signal import recurs
from analytics.signals import signals
from analytics.signals.charts import CLOSE, charts_of, merged, widest
from analytics.signals.last_months import TAIL, false_alarms
from analytics.statistics.control import bernoulli_cusum
from registry.access import opened_document
from registry.models import Case
from registry.recording.cases import amend_case
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, take, uses
from tests.analytics.invented import CLASSES, MONTHS, SITES, invented_cases, invented_uses
from tests.analytics.rising import THREE_YEARS, a_rise, an_event, crossings_of, of, withdrawn
from tests.builders import Document

pytestmark = [pytest.mark.data, pytest.mark.django_db]


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
    """Use by use: uses spread evenly over the month, those of a day shared by its events, the last one its last."""
    for month in record.recorded:
        if month.month < since:
            continue
        length = ((month.month + datetime.timedelta(days=31)).replace(day=1) - month.month).days
        opened = month.uses or 0
        known = [event.latest.day for event in month.events if event.earliest == event.latest]
        without = len(month.events) - len(known)
        days = sorted([*known, *(1 + int(length * (one + 0.5) / without) for one in range(without))])
        places: list[int] = []
        for number, day in enumerate(days):
            shared, nth = days.count(day), days[: number + 1].count(day)
            before, last = opened * (day - 1) // length, opened * day // length
            wanted = before + ceil((last - before) * nth / shared)
            earliest = max(wanted, places[-1] + 1 if places else 1)
            places.append(min(earliest, opened - (len(days) - 1 - number)))
        yield from (int(use in places) for use in range(1, opened + 1))


@pytest.mark.parametrize("seed", range(1, 7))
def test_each_signal_of_a_random_registry_is_found_again_from_its_months(seed: int) -> None:
    a_random_registry(seed)
    found = signals(EVERYTHING, Filters())
    for one in charts_of(summaries.months_by_model(EVERYTHING, Filters())):
        if one.chart.rule in (SignalRule.MODEL_SUM, SignalRule.CLASS_SUM):
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
        if one.chart.rule == SignalRule.SINGLE_MONTH:
            base = one.chart.baseline
            assert base is not None
            last = base.last
            rate = base.events / base.uses
            beyond = [
                month
                for month, events, opened in counted(one.record)
                if month > last and events >= 2 and stats.poisson.sf(events - 1, rate * opened) <= 0.00135
            ]
            assert [crossed.event.month for crossed in one.crossings] == beyond
    assert any(one.times for one in found.watched)
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
    assert {one.subject: one.behind for one in found} == expected
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
    (crossed,) = crossings_of(SignalRule.MODEL_SUM)
    assert [event.latest.day for event in crossed.behind] == [3, 9, 15, 21][: len(crossed.behind)]
    (month,) = crossings_of(SignalRule.SINGLE_MONTH)
    assert (month.expected, len(month.behind), month.event.month) == (0.25, 5, datetime.date(2025, 5, 1))
    # A chance of 0.00216 of 3 or more and 0.00013 of 4 or more, expecting 0.25: recomputed, no source.
    assert month.limit == 4
    recent = of(signals(EVERYTHING, Filters()), SignalRule.MODEL_SUM).recent
    assert recent is not None
    assert (recent.events, recent.uses, recent.base_events, recent.base_uses) == (5, 600, 6, 1200)


def test_a_withdrawn_or_amended_case_changes_the_signal(db: None) -> None:
    a_rise()
    withdrawn("E-13")
    (month,) = crossings_of(SignalRule.SINGLE_MONTH)
    assert len(month.behind) == 4
    other = Case.objects.get(document_id="E-19")
    document = opened_document(other)
    document["procedure"] = {"date": "2025-09-19"}
    amend_case(other, document, version=1, reason="read again", by=None)
    assert crossings_of(SignalRule.SINGLE_MONTH) == ()


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
    crossed = crossings_of(SignalRule.LAST_MONTHS)[0]
    assert crossed.event.month is not None
    assert f"{crossed.event.month:%Y-%m}" == THREE_YEARS[last] < months[-1]
    assert (len(crossed.behind), crossed.within) == (seen, 600)
    assert crossed.before == (earlier, 50 * len(before))
    assert stats.binom.sf(crossed.limit - 2, crossed.limit - 1 + earlier, share) > 0.016


def test_looks_at_the_last_months_are_as_strict_as_once_in_25_years_asks() -> None:
    # Fewer than 5 events in 24 months are at most 62.5 looks in 25 years.
    assert pytest.approx(1 / 62.5) == TAIL
    assert f"at most {TAIL:g}" in recurs(Chart(SignalRule.LAST_MONTHS, "W-1", "", ""))


@pytest.mark.parametrize("events", [2, 4, 8, 13, 40])
def test_false_alarms_of_the_last_months_stay_within_what_their_looks_allow(events: int) -> None:
    expected = false_alarms(events, (50,) * 48)
    assert (expected > 0) == (events > 2)
    assert expected <= TAIL * min(36, events)


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
    (crossed,) = crossings_of(SignalRule.CLOSE_TOGETHER)
    assert len(crossed.behind) == 3
    # The 4th, 11th and 18th of 31 days with 40 uses are uses 5, 14 and 23.
    assert crossed.within == 19
    assert 0 < chart.false_alarms < 0.2


def test_months_of_a_random_registry_are_as_many_as_it_says() -> None:
    a_random_registry(3)
    period = signals(EVERYTHING, Filters()).period
    assert period is not None and f"{period[1]:%Y-%m}" <= MONTHS[-1]
