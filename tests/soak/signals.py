"""The watched charts over invented registries, seed by seed: is the planted rise signalled, and little else?

Pure: the fixtures' cases and uses, counted by month by the rules of R12, no database. A false alarm is a crossing of a
chart of any other than the planted model and its class. Limits come from stated chances and were not fitted to seeds.
Beside it each of those charts is drawn anew from its own rate, which tells whether the number expected is right.
"""

from __future__ import annotations

import calendar
import datetime
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from analytics import summaries
from analytics.answers_months import DeviceEvent, Month, MonthlyRecord
from analytics.answers_signals import Drawn, SignalRule
from analytics.signals.charts import Records, charts_of, charts_of_a_model
from fixtures.denominators import counted, device_use_rows
from fixtures.generate import generate_cases
from fixtures.world import read_world
from registry.partial_dates import span

SEEDS = 20
FEWEST_SIGNALLED = 0.9
"""Of the seeds, in which the planted model must be signalled: 18 of 20."""
CHANCE = 0.001
"""More false alarms than chance alone gives this often are too many."""
DRAWINGS = 10
"""How often the watched months of each model are drawn anew."""
NEAR = 0.25
"""How far, as a share, those that came then may lie from those expected: three standard errors where 150 are."""

Json = dict[str, Any]


def records_of(documents: Iterable[Json], uses: Iterable[Json]) -> Records:
    """Months of each model, from first events in site-months with recorded uses (R12)."""
    opened = {
        (row["site"], row["device_model"], datetime.date.fromisoformat(f"{row['month']}-01")): int(
            row["uses"]
        )
        for row in uses
    }
    kinds = {model.code: model.device_class for model in read_world().models}
    events: dict[str, list[DeviceEvent]] = {model: [] for model in kinds}
    for document in documents:
        for event in _first_events(document):
            if (event.site, event.device_model, event.month) in opened:
                events[str(event.device_model)].append(event)
    return {model: (kind, _record(model, events[model], opened)) for model, kind in kinds.items()}


def _first_events(document: Json) -> Iterable[DeviceEvent]:
    date = span(document["procedure"]["date"])
    month = date.earliest.replace(day=1)
    if document["procedure"].get("kind") == "none_found_later" or date.latest.replace(day=1) != month:
        return
    for one in document["complications"]:
        model = one["device"].get("model", "unknown")
        here = (one.get("began") or {}).get("where", "here") == "here"
        if model != "unknown" and here and not one.get("caused_by"):
            yield DeviceEvent(
                document["id"], document["site"], model, month, date.earliest, date.latest, False,
                one["situation"], one.get("ending", ""), None, None,
            )  # fmt: skip


def _record(
    model: str, events: list[DeviceEvent], opened: dict[tuple[str, str, datetime.date], int]
) -> MonthlyRecord:
    uses: Counter[datetime.date] = Counter()
    records: Counter[datetime.date] = Counter()
    for (_, of, month), number in opened.items():
        if of == model:
            uses[month] += number
            records[month] += 1
    listed = sorted(events, key=lambda event: (event.latest, event.case))
    months = tuple(
        Month(
            month, uses[month], records[month],
            tuple(event for event in listed if event.month == month), (), (),
        )
        for month in sorted(records)
    )  # fmt: skip
    return MonthlyRecord(months, (), (), ())


def watched(seed: int) -> list[Drawn]:
    """All charts of the invented registry of a seed."""
    world = read_world()
    documents = list(generate_cases(world.cases, seed))
    return list(charts_of(records_of(documents, device_use_rows(world, counted(documents)))))


def redrawn(seed: int) -> Iterator[Drawn]:
    """The charts of every model with events of chance alone in the months that are watched, at the usual rate."""
    chance = np.random.default_rng(seed)
    for one in watched(seed):
        chart = one.chart
        if chart.rule not in (SignalRule.MODEL_SUM, SignalRule.LAST_MONTHS):
            continue
        usual = chart.baseline
        rate = usual.events / usual.uses if usual else len(one.record.events) / one.record.uses
        since = one.watch.since if one.watch else datetime.date.min
        of_class = usual if one.watch and one.watch.of_class else None
        for _drawing in range(DRAWINGS):
            months = tuple(
                _drawn(month, rate, chance) if month.month >= since else month for month in one.record.months
            )
            record = replace(one.record, months=months)
            if usual or summaries.watch_of(record) is None:
                yield from charts_of_a_model(chart.subject, chart.device_class, record, of_class)


def _drawn(month: Month, rate: float, chance: np.random.Generator) -> Month:
    length = calendar.monthrange(month.month.year, month.month.month)[1]
    days = sorted(chance.integers(1, length + 1, chance.binomial(month.uses or 0, rate)).tolist())
    dates = [month.month.replace(day=day) for day in days]
    return replace(month, events=tuple(
        DeviceEvent(f"{date}/{number}", "", "", month.month, date, date, False, "", "", None, None)
        for number, date in enumerate(dates)
    ))  # fmt: skip


def measured(seeds: Iterable[int] = range(1, SEEDS + 1)) -> dict[str, Any]:
    """In how many seeds the planted model is signalled, and false alarms beside those expected, by rule."""
    world = read_world()
    planted = world.planted.rising_model
    its_class = next(model.device_class for model in world.models if model.code == planted)
    found: list[str] = []
    came, expected, anew, anew_expected, rounds = _none(), _none(), _none(), _none(), 0
    for seed in seeds:
        rounds += 1
        charts = watched(seed)
        days = [crossed.day for one in charts if one.chart.subject == planted for crossed in one.crossings]
        found += [min(days).isoformat()] if [day for day in days if day >= world.planted.rising_from] else []
        _count((one for one in charts if one.chart.subject not in (planted, its_class)), came, expected)
        _count(redrawn(seed), anew, anew_expected)
    return {
        "seeds": rounds,
        "signalled": len(found),
        "first_signal": sorted(found),
        "false_alarms": came,
        "expected_false_alarms": {rule: round(number, 2) for rule, number in expected.items()},
        "drawn_anew": anew,
        "expected_when_drawn_anew": {rule: round(number, 2) for rule, number in anew_expected.items()},
        "wrong": [
            *_wrong(rounds, len(found), sum(came.values()), sum(expected.values())),
            *_wrong_anew(sum(anew.values()), sum(anew_expected.values())),
        ],
    }


def _none() -> dict[str, float]:
    return {str(rule): 0 for rule in SignalRule if rule != SignalRule.ONE_LOT}


def _count(charts: Iterable[Drawn], came: dict[str, float], expected: dict[str, float]) -> None:
    for one in charts:
        came[str(one.chart.rule)] += one.chart.times
        expected[str(one.chart.rule)] += float(one.chart.false_alarms)


def _wrong_anew(came: float, expected: float) -> list[str]:
    if abs(came - expected) <= NEAR * expected:
        return []
    return [f"{came} false alarms of charts drawn anew, where {expected:.1f} are expected"]


def _wrong(rounds: int, signalled: int, came: float, expected: float) -> list[str]:
    from analytics.watching import chance_of_at_least

    wrong = []
    if signalled < FEWEST_SIGNALLED * rounds:
        wrong.append(f"the planted model is signalled in {signalled} of {rounds} seeds alone")
    if chance_of_at_least(int(came), expected) < CHANCE:
        wrong.append(f"{came} false alarms where {expected:.1f} are expected")
    return wrong
