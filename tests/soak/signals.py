"""The watched charts over invented registries, seed by seed: is the planted rise signalled, and little else?

Pure: the fixtures' cases and uses, counted by month by the rules of R12, no database. A false alarm is a crossing of a
chart of any other than the planted model and its class.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterable
from typing import Any

from analytics.answers_months import DeviceEvent, Month, MonthlyRecord
from analytics.answers_signals import Chart, SignalRule
from analytics.signals.charts import Records, charts_of
from fixtures.denominators import counted, device_use_rows
from fixtures.generate import generate_cases
from fixtures.world import read_world
from registry.partial_dates import span

SEEDS = 20
FEWEST_SIGNALLED = 0.9
"""Of the seeds, in which the planted model must be signalled: 18 of 20."""
CHANCE = 0.001
"""More false alarms than chance alone gives this often are too many."""

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


def watched(seed: int) -> list[Chart]:
    """All charts of the invented registry of a seed."""
    world = read_world()
    documents = list(generate_cases(world.cases, seed))
    return list(charts_of(records_of(documents, device_use_rows(world, counted(documents)))))


def measured(seeds: Iterable[int] = range(1, SEEDS + 1)) -> dict[str, Any]:
    """In how many seeds the planted model is signalled, and false alarms beside those expected, by rule."""
    world = read_world()
    planted = world.planted.rising_model
    its_class = next(model.device_class for model in world.models if model.code == planted)
    found: list[str] = []
    came, expected, rounds = Counter[str](), dict.fromkeys(SignalRule, 0.0), 0
    for seed in seeds:
        rounds += 1
        charts = watched(seed)
        about_it = [one for one in charts if one.subject == planted]
        days = [crossed.day for one in about_it for crossed in one.crossings]
        found += [min(days).isoformat()] if [day for day in days if day >= world.planted.rising_from] else []
        for one in charts:
            if one.subject not in (planted, its_class):
                came[one.rule] += len(one.crossings)
                expected[one.rule] += one.false_alarms
    return {
        "seeds": rounds,
        "signalled": len(found),
        "first_signal": sorted(found),
        "false_alarms": {str(rule): came[rule] for rule in SignalRule if expected[rule]},
        "expected_false_alarms": {str(rule): round(number, 2) for rule, number in expected.items() if number},
        "wrong": _wrong(rounds, len(found), sum(came.values()), sum(expected.values())),
    }


def _wrong(rounds: int, signalled: int, came: int, expected: float) -> list[str]:
    from analytics.watching import chance_of_at_least

    wrong = []
    if signalled < FEWEST_SIGNALLED * rounds:
        wrong.append(f"the planted model is signalled in {signalled} of {rounds} seeds alone")
    if chance_of_at_least(came, expected) < CHANCE:
        wrong.append(f"{came} false alarms where {expected:.1f} are expected")
    return wrong
