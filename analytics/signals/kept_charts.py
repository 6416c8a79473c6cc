"""All charts that are watched: counted from the months of every model, or as they are kept ready in a snapshot.

What is kept are the charts of a list, without names, as JSON. The months and sums that one of them is drawn from are
not kept, nor is what people said. No query of its own.
"""

from __future__ import annotations

import datetime
import json
from dataclasses import fields
from typing import Any, NamedTuple

from analytics import cohorts, summaries
from analytics.answers import Reason
from analytics.answers_months import DeviceEvent
from analytics.answers_signals import Chart, Recent, SignalRule
from analytics.cohorts import Filters, kept
from analytics.signals.charts import charts_of, lots_of
from analytics.signals.recent import ONE_A_MODEL, compared, counts_of
from analytics.watching import Baseline
from registry.access import Scope

NAME = "charts watched"
"""Under which the text is kept."""

SHAPE = [
    *([field.name for field in fields(of)] for of in (Chart, Baseline, Recent)),
    list(DeviceEvent._fields),
]
"""What a kept chart consists of: text of another shape, of an earlier version of the product, is not read."""


class Watched(NamedTuple):
    """The charts, not yet named, and how many models with uses are not watched."""

    charts: list[Chart]
    unwatched: int


def watched(scope: Scope, filters: Filters) -> Watched:
    """All charts of a scope; of the whole registry as they are kept, where what is kept is read."""
    if scope.sites is None and kept.is_read(filters):
        text = kept.text_of(NAME)
        found = read(text) if text else None
        if found is not None:
            return found
    return counted(scope, filters)


@cohorts.at_one_moment()
def counted(scope: Scope, filters: Filters) -> Watched:
    """The same, counted now. PeriodRefused unless the period is of whole months."""
    records = summaries.months_by_model(scope, filters)
    found = [*charts_of(records), *lots_of(records)]
    charts = compared([one.chart for one in found], counts_of(found))
    known = {one.subject for one in charts if one.rule in ONE_A_MODEL}
    return Watched(
        charts, sum(model not in known and record.uses > 0 for model, (_, record) in records.items())
    )


def part() -> tuple[str, str]:
    """The charts of the whole registry, counted now, as the name and the text under which they are kept."""
    return NAME, written(counted(Scope(None), Filters()))


def written(found: Watched) -> str:
    """As text that `read` reads."""
    held = {"shape": SHAPE, "unwatched": found.unwatched, "charts": [_row(one) for one in found.charts]}
    return json.dumps(held, default=datetime.date.isoformat, separators=(",", ":"))


def read(text: str) -> Watched | None:
    """What was written; None where it has another shape."""
    held = json.loads(text)
    if held["shape"] != SHAPE:
        return None
    return Watched([_chart(*row) for row in held["charts"]], held["unwatched"])


def _row(one: Chart) -> list[Any]:
    """The values of a chart in the order of its fields, those of its parts as lists."""
    values = {field: getattr(one, field) for field in SHAPE[0]}
    for name in ("baseline", "recent"):
        part = values[name]
        values[name] = part and [getattr(part, field.name) for field in fields(part)]
    return list(values.values())


def _chart(
    rule: str,
    subject: str,
    name: str,
    device_class: str,
    months: list[str] | None,
    baseline: list[Any] | None,
    false_alarms: float,
    times: int,
    last: list[Any] | None,
    behind: int,
    recent: list[Any] | None,
) -> Chart:
    return Chart(
        rule=SignalRule(rule),
        subject=subject,
        name=name,
        device_class=device_class,
        months=(_day(months[0]), _day(months[1])) if months else None,
        baseline=_baseline(*baseline) if baseline else None,
        false_alarms=false_alarms,
        times=times,
        last=_event(DeviceEvent(*last)) if last else None,
        behind=behind,
        recent=Recent(*recent) if recent else None,
    )


def _baseline(events: int, uses: int, first: str, last: str, lower: float, upper: float) -> Baseline:
    return Baseline(events, uses, _day(first), _day(last), lower, upper)


def _event(text: DeviceEvent) -> DeviceEvent:
    """An event whose days and reason are still texts."""
    return text._replace(
        month=text.month and _day(str(text.month)),
        earliest=_day(str(text.earliest)),
        latest=_day(str(text.latest)),
        left_out=text.left_out and Reason(text.left_out),
    )


_day = datetime.date.fromisoformat
